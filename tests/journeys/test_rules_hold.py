"""What holds for all rules together, on an hour of the simulated line in which several things go wrong.

The journal follows from what arrived and when, not from how it was cut; stops, shifts, units and the numbering
of places change nothing that they should not.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from historian.frame import NS, Frame
from historian.tags import Tag
from historian.units import conversion
from rules.detectors import detectors_for
from rules.engine import Engine
from rules.entry import Entry, EntryKind
from rules.line import LineFacts, MeltFilter
from simulator.faults import FaultOrder
from simulator.run import batch, published_tags
from simulator.scenarios.file import load_scenario
from simulator.scenarios.scenario import Scenario
from simulator.sensors import source_of

T0_NS = 1_900_000_000 * NS
FROM_S, UNTIL_S = 85 * 60, 150 * 60
FAULTS = (
    FaultOrder("open", "plate_open", 118 * 60.0, place=3),
    FaultOrder("skipped", "cleaning_skipped", 126 * 60.0, end_s=132 * 60.0),
    FaultOrder("frozen", "sensor_frozen", 135 * 60.0, tag="water.supply.temp.pv"),
    FaultOrder("torn", "screen_torn", 142 * 60.0),
)
FACTS = LineFacts(
    "trial day",
    MeltFilter(plates=8, trigger_dp_bar=45.0, trigger_held_s=4.0, max_interval_s=540.0, heater_a=6.0),
    barrel_zones=5,
    planned_kg_h=640.0,
)
# An example takes seconds: a failing one is shown as it is found.
SLOW = settings(
    max_examples=3,
    deadline=None,
    suppress_health_check=list(HealthCheck),
    phases=(Phase.explicit, Phase.generate),
)


def scenario(*, faults: bool) -> Scenario:
    day = replace(load_scenario("trial_day"), seed=777, duration_s=float(UNTIL_S))
    return replace(day.without_faults(), faults=FAULTS if faults else ())


@cache
def tags() -> dict[str, Tag]:
    listed = published_tags(scenario(faults=True))
    return {t.path: replace(t, source=f"{source_of(t.path)}-plc", id=n + 1) for n, t in enumerate(listed)}


@cache
def frames(*, faults: bool) -> tuple[Frame, ...]:
    """One frame a second of arrival."""
    return tuple(batch(scenario(faults=faults), tags(), T0_NS, start_s=FROM_S, end_s=UNTIL_S, chunk_s=1))


def engine() -> Engine:
    return Engine(tags(), lambda: detectors_for(FACTS, tags()))


def journal(given_frames: Sequence[Frame], stops: Sequence[int] = ()) -> list[Entry]:
    """The entries; before each frame whose number is in ``stops`` the rules are saved and made anew."""
    rules, found = engine(), list[Entry]()
    for n, frame in enumerate(given_frames):
        if n in stops:
            text = json.dumps(rules.save(), allow_nan=False)
            fed = rules.seq
            rules = engine()
            rules.restore(json.loads(text))
            for seq in range(fed, n):
                rules.feed(seq + 1, given_frames[seq])
        rules.feed(n + 1, frame)
        found += rules.advance(frame.arrival_ns)
    return found


@cache
def usual(*, faults: bool = True) -> tuple[Entry, ...]:
    return tuple(journal(frames(faults=faults)))


def told(entries: Sequence[Entry]) -> list[tuple[Any, ...]]:
    return [
        (e.key, e.time_ns, e.kind, e.rule, e.subject, json.dumps(e.data, sort_keys=True)) for e in entries
    ]


def findings(entries: Sequence[Entry]) -> list[tuple[int, str, str, bool]]:
    """Those that call somebody."""
    found = [e for e in entries if e.kind == EntryKind.FINDING and e.data["priority"] > 1]
    return [(e.time_ns, e.rule, e.subject, e.data["active"]) for e in found]


def test_the_hour_has_something_for_several_rules():
    began = {(rule, subject) for _, rule, subject, active in findings(usual()) if active}
    assert ("heater-power", "filter.plate.3") in began
    assert ("cleaning-overdue", "filter.wiper") in began
    assert ("sensor-frozen", "water.supply.temp") in began
    stopped = [e for e in usual() if e.data.get("kind") == "rule-stopped"]
    assert stopped == []


@SLOW
@given(st.integers(0, 10_000))
def test_frame_boundaries_change_nothing(seed: int):
    """Each second's samples come in one to four frames, by tag at random."""
    chance = np.random.default_rng(seed)
    cut: list[Frame] = []
    for frame in frames(faults=True):
        parts = int(chance.choice([1, 1, 2, 4]))
        which = chance.integers(0, parts, len(frame))
        for part in range(parts):
            at = which == part
            columns = (frame.tag[at], frame.time_ns[at], frame.value[at], frame.quality[at])
            cut.append(Frame(*columns, frame.arrival_ns, frame.clock_epoch))
    assert told(journal(cut)) == told(usual())


@SLOW
@given(st.sets(st.integers(1, UNTIL_S - FROM_S - 1), min_size=1, max_size=6))
def test_a_stop_anywhere_changes_nothing(stops: set[int]):
    again = journal(frames(faults=True), sorted(stops))
    assert told(list({e.key: e for e in again}.values())) == told(usual())


@SLOW
@given(st.integers(-3600, 3600))
def test_a_shift_of_all_clocks_shifts_the_journal(shift_10_s: int):
    """Whole tens of seconds: the grid on which rules judge is aligned to them."""
    by = shift_10_s * 10 * NS
    moved = [replace(f, time_ns=f.time_ns + by, arrival_ns=f.arrival_ns + by) for f in frames(faults=True)]
    assert [(t - by, *rest) for t, *rest in findings(journal(moved))] == findings(usual())


def test_nothing_is_found_where_nothing_is_wrong():
    assert findings(usual(faults=False)) == []


@SLOW
@given(st.integers(600, UNTIL_S - FROM_S - 1200))
def test_a_gap_of_ten_minutes_invents_nothing_but_itself(at: int):
    whole = frames(faults=False)
    found = findings(journal([*whole[:at], *whole[at + 600 :]]))
    assert {rule for _, rule, _, _ in found} <= {"source-silent", "recording-gap"}


def test_bar_or_megapascal_is_the_same():
    to_mpa, _ = conversion("bar", "MPa")
    to_bar, _ = conversion("MPa", "bar")
    pressures = [t.id for t in tags().values() if t.unit == "bar"]
    again = []
    for frame in frames(faults=True):
        in_bar = np.isin(frame.tag, pressures)
        again.append(replace(frame, value=np.where(in_bar, frame.value * to_mpa * to_bar, frame.value)))
    assert findings(journal(again)) == findings(usual())


def test_two_plates_swapped_swap_their_findings():
    mine, other = ("filter.plate.3.", "filter.plate.5.")
    numbers = {p: t.id for p, t in tags().items()}
    swapped = np.arange(max(numbers.values()) + 1)
    for path, number in numbers.items():
        if path.startswith(mine):
            partner = numbers[path.replace(mine, other)]
            swapped[number], swapped[partner] = partner, number
    again = [
        Frame.of(
            swapped[f.tag], f.time_ns, f.value, f.quality, arrival_ns=f.arrival_ns, clock_epoch=f.clock_epoch
        )
        for f in frames(faults=True)
    ]
    # The neighbours of 3 are 2 and 4, those of 5 are 4 and 6: only what looks at a plate alone must swap.
    plates = [(t, s) for t, rule, s, active in findings(journal(again)) if rule == "heater-power" and active]
    ours = [(t, s) for t, rule, s, active in findings(usual()) if rule == "heater-power" and active]
    assert plates == [(t, s.replace("plate.3", "plate.5")) for t, s in ours] != []


@pytest.mark.parametrize("seed", [1, 2])
def test_no_input_stops_a_rule(seed: int):
    """NaN, infinities, duplicates, holes, times that go back, and values beyond all sense."""
    chance = np.random.default_rng(seed)
    broken = []
    for frame in frames(faults=True)[::3]:
        kept = chance.random(len(frame)) > 0.1
        value = frame.value.copy()
        odd = chance.random(len(frame)) < 0.05
        value[odd] = chance.choice([np.nan, np.inf, -np.inf, 1e300, -1e9, 0.0], int(odd.sum()))
        back = np.where(chance.random(len(frame)) < 0.02, chance.integers(-600, 5), 0) * NS
        twice = np.where(chance.random(len(frame)) < 0.02, 2, 1) * kept
        columns = [np.repeat(c, twice) for c in (frame.tag, frame.time_ns + back, value, frame.quality)]
        broken.append(Frame.of(*columns, arrival_ns=frame.arrival_ns))
    assert [e.data["text"] for e in journal(broken) if e.data.get("kind") == "rule-stopped"] == []
