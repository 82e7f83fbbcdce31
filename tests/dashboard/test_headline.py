"""The sentence at the top: what it says, and what it must never say."""

from __future__ import annotations

import re
from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from dashboard.cleaning_watch import Due
from dashboard.headline import PhaseNow, headline, outlook
from dashboard.now import Now
from dashboard.views import AlarmView, SourceView
from historian.catalogue import canonical_tag
from historian.frame import NS
from historian.store import Sample
from process.phase_names import DWELL_S
from process.screen import Forecast
from rules.line import LineFacts

T0 = 1_777_874_400 * NS
FACTS = LineFacts("pilot-2", planned_kg_h=640.0)
ALARM = AlarmView(
    "heater-power|filter.plate.5",
    "heater-power",
    "filter.plate.5",
    3,
    "now",
    "plate 5",
    "Plate 5 is losing heat.",
    "",
    "since 06:00",
    seen=False,
    returned=False,
    shelved="",
    state_words="unacknowledged",
)
# What no sentence of ours may hold: a promise, or an order to run a machine.
FORBIDDEN = re.compile(
    r"\b(safe|safely|cold|pressure-free|pressureless|isolated|keep running|continue|start the|run the|must)\b",
    re.I,
)


def now(feed: float = 640.0, inlet: float = 92.0, speed: float = 95.0, age_s: float = 1.0) -> Now:
    values = {"doser.rate.pv": feed, "filter.inlet.pressure.pv": inlet, "extruder.screw.speed.pv": speed}
    tags = {p: canonical_tag(p, source="plc") for p in values}
    return Now(tags, {p: Sample(T0, v, 0, T0) for p, v in values.items()}, T0 + int(age_s * NS), "UTC")


def test_a_steady_line_is_said_as_a_foreman_would() -> None:
    phase = PhaseNow("steady", T0 - 42 * 60 * NS)
    assert headline(now(), FACTS, phase, [], []) == "Steady for 42 min at 640 kg/h."


def test_the_gravest_alarm_comes_first_and_the_rest_are_counted() -> None:
    others = [replace(ALARM, key=f"k{n}", bars=2, sentence=f"Second {n}.") for n in range(2)]
    said = headline(now(), FACTS, None, [*others, ALARM], [])
    assert said == "Plate 5 is losing heat. 2 more need a person: see below. Running at 640 kg/h."


def test_an_alarm_that_is_over_or_slight_does_not_lead() -> None:
    said = headline(now(), FACTS, None, [replace(ALARM, returned=True), replace(ALARM, bars=1)], [])
    assert said == "Running at 640 kg/h."


def test_a_grave_alarm_kept_from_sight_is_named() -> None:
    said = headline(now(), FACTS, None, [replace(ALARM, shelved="shelved, 20 min left, until 06:20")], [])
    assert "Kept from sight for now: plate 5 (shelved, 20 min left, until 06:20)." in said
    assert "losing heat" not in said


def test_without_data_the_state_is_not_guessed() -> None:
    assert headline(now(age_s=31), FACTS, None, [], []).startswith(
        "No data since 06:00:00: the line's state is not"
    )
    waits = [
        SourceView("filter-plc", False, "filter-plc: no data yet. waiting for filter-plc at opc.tcp://h:1")
    ]
    empty = Now({}, {}, T0, "UTC")
    assert headline(empty, FACTS, None, [], waits) == (
        "No data has arrived yet, so the line's state is not known. "
        "Filter-plc: no data yet. waiting for filter-plc at opc.tcp://h:1."
    )


def test_a_lost_source_is_named_while_the_others_deliver() -> None:
    said = headline(now(), FACTS, None, [], [SourceView("scale", False, "scale: no data")])
    assert said.endswith("No data from scale.")


def test_a_pressure_near_zero_is_no_proof() -> None:
    said = headline(now(feed=0, inlet=0.3, speed=0), FACTS, None, [], [])
    assert said == (
        "Feed 0 kg/h; the screw stands. Melt pressure before the screen reads 0 bar: "
        "not proof; trapped pressure possible."
    )


@given(
    st.floats(0, 1000),
    st.floats(-5, 200),
    st.floats(0, 150),
    st.floats(0, 100),
    st.one_of(st.none(), st.sampled_from(sorted(DWELL_S))),
)
def test_no_sentence_promises_or_orders(
    feed: float, inlet: float, speed: float, age_s: float, phase: str | None
) -> None:
    said = headline(now(feed, inlet, speed, age_s), FACTS, PhaseNow(phase, T0) if phase else None, [], [])
    assert said
    assert not FORBIDDEN.search(said)
    if inlet < 1.4 and age_s < 5:
        assert "not proof; trapped pressure possible" in said


def test_the_outlook_rounds_and_gives_its_bounds() -> None:
    said = outlook(Due(52.0, "load"), Forecast(2100.0, 1500.0, 3300.0), None)
    assert said == (
        "Next cleaning in about 50 s. The pressure left after cleaning reaches 75 % of the trigger "
        "in about 35 min (25–55)."
    )
    assert outlook(Due(3.0, "clock"), None, None) == "Next cleaning in about 10 s, by the clock."
    assert outlook(Due(3.0, "load"), None, 7.0) == "The wiper has been cleaning the screen for 7 s."
    assert outlook(None, None, None) == ""
