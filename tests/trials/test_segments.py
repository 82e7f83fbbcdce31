"""Settings changes, cleanings, phases, and all of them on one timeline read from a real store."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from historian.catalogue import canonical_tag
from historian.embedded.store import EmbeddedStore
from historian.frame import NS, Frame, Series
from historian.quality import LAST_USABLE, NO_DATA
from rules.entry import Entry, EntryKind
from rules.finding import Priority
from rules.line import LineFacts
from tests.rules.toys import finding
from trials.record import Note
from trials.segments import SettingChange, cleanings, phases, settings_changes, timeline

T0 = 1_700_000_000 * NS
FACTS = LineFacts("pilot")


def series(*samples: tuple[float, float], quality: int = 0) -> Series:
    return Series.of([T0 + round(t * NS) for t, _ in samples], [v for _, v in samples], quality)


def test_a_settings_change_says_old_new_and_unit() -> None:
    made = settings_changes(
        {
            "doser.rate.sp": series((0, 600), (1, 600), (2, 640), (3, 640)),
            "extruder.zone.2.temp.sp": series((0, 230), (1, 235)),
            "doser.rate.pv": series((0, 1), (1, 2)),
            "own.mixer.sp": series((0, 1), (5, 2)),
        },
        {"own.mixer.sp": "bar"},
    )
    assert made == [
        SettingChange(T0 + NS, "extruder.zone.2.temp.sp", 230, 235, "Cel"),
        SettingChange(T0 + 2 * NS, "doser.rate.sp", 600, 640, "kg/h"),
        SettingChange(T0 + 5 * NS, "own.mixer.sp", 1, 2, "bar"),
    ]


def test_what_is_turned_up_step_by_step_is_one_change() -> None:
    steps = [(10 * n, 400 + 10 * n) for n in range(25)]
    made = settings_changes({"doser.rate.sp": series((0, 400), *steps, (400, 700))})
    assert [(c.time_ns - T0, c.old, c.new) for c in made] == [(10 * NS, 400, 640), (400 * NS, 640, 700)]


def test_bad_samples_are_no_change_and_uncertain_ones_count() -> None:
    times = [T0 + n * NS for n in range(6)]
    values = [600.0, 0.0, np.nan, 600.0, 640.0, 640.0000000001]
    quality = [0, NO_DATA, 0, 0, LAST_USABLE, 0]
    (change,) = settings_changes({"doser.rate.sp": Series.of(times, values, quality)})
    assert (change.time_ns, change.old, change.new) == (times[4], 600.0, 640.0)
    assert settings_changes({"doser.rate.sp": Series.empty()}) == []


def a_filter(*, both_pressures: bool) -> dict[str, Series]:
    """Two minutes: the pressure difference climbs from 20 bar to 45 bar, cleanings at 40 s and 90 s."""
    seconds = np.arange(120.0)
    since = np.where(seconds < 44, seconds + 6, np.where(seconds < 94, seconds - 44, seconds - 94))
    dp = 20.0 + since / 2
    wiper = np.where((np.abs(seconds - 42) < 2.1) | (np.abs(seconds - 92) < 2.1), 1.0, 0.0)
    times = (T0 + (seconds * NS).astype(np.int64)).astype(np.int64)

    def of(values: object, shift_ns: int = 0) -> Series:
        return Series.of(times + shift_ns, values, 0)

    found = {"filter.wiper.state": of(wiper), "die.pressure.pv": of(np.full(120, 70.0))}
    if both_pressures:
        found |= {
            "filter.inlet.pressure.pv": of(dp + 100),
            "filter.outlet.pressure.pv": of(np.full(120, 100.0), 3_000_000),
        }
    else:
        found["filter.dp.calc"] = of(dp)
    return found


@pytest.mark.parametrize("both_pressures", [True, False])
def test_cleanings_with_their_peaks_and_troughs(both_pressures: bool) -> None:
    first, second = cleanings(a_filter(both_pressures=both_pressures))
    assert [(c.start_ns - T0) // NS for c in (first, second)] == [40, 90]
    assert second.period_s == 50.0
    assert first.peak_bar == pytest.approx(20 + 43 / 2, abs=0.6)
    assert first.trough_bar == pytest.approx(20 + 7 / 2, abs=0.6)
    assert first.die_bar == 70.0


def test_without_wiper_or_pressure_there_are_no_cleanings() -> None:
    signals = a_filter(both_pressures=False)
    assert cleanings({p: s for p, s in signals.items() if p != "filter.wiper.state"}) == []
    assert cleanings({p: s for p, s in signals.items() if p != "filter.dp.calc"}) == []


def a_cold_start() -> dict[str, Series]:
    """Cold for ten minutes, then the zone heats at full output for ten."""
    seconds = np.arange(0.0, 1200.0, 5.0)
    heating = seconds >= 600
    times = (T0 + (seconds * NS).astype(np.int64)).astype(np.int64)
    values = {
        "extruder.screw.speed.pv": np.zeros(len(seconds)),
        "extruder.zone.1.temp.pv": np.where(heating, 25 + (seconds - 600) / 6, 25.0),
        "extruder.zone.1.temp.sp": np.full(len(seconds), 220.0),
        "extruder.zone.1.out": np.where(heating, 100.0, 0.0),
    }
    return {path: Series.of(times, v, 0) for path, v in values.items()}


def test_phases_are_cut_to_the_stretch_and_known_from_what_came_before() -> None:
    signals = a_cold_start()
    off, heat_up = [p for p in phases(signals, T0, T0 + 1200 * NS, FACTS) if p.name in ("off", "heat-up")]
    assert (off.name, heat_up.name) == ("off", "heat-up")
    assert abs(heat_up.start_ns - T0 - 600 * NS) <= 20 * NS
    (alone,) = phases(signals, T0 + 900 * NS, T0 + 1200 * NS, FACTS, lead_ns=600 * NS)
    assert (alone.name, alone.start_ns, alone.end_ns) == ("heat-up", T0 + 900 * NS, T0 + 1200 * NS)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[EmbeddedStore]:
    made = EmbeddedStore.open(tmp_path / "line")
    signals = {
        **a_filter(both_pressures=False),
        **a_cold_start(),
        "doser.rate.sp": series((-100, 600), (60, 640), (95, 650), (130, 660)),
    }
    tags = made.register(canonical_tag(path) for path in signals)
    for path, one in signals.items():
        number = np.full(len(one), tags[path].id)
        made.append(Frame.of(number, one.time_ns, one.value, one.quality, arrival_ns=T0 + 2000 * NS))
    yield made
    made.close()


def journaled(second: int, *, active: bool = True, **words: object) -> Entry:
    one = finding(active, time_ns=T0 + second * NS, **words)  # type: ignore[arg-type]
    return Entry(f"{second}", one.time_ns, EntryKind.FINDING, one.rule, one.subject, "rules", one.to_json())


def test_a_timeline_holds_what_lies_in_its_stretch(store: EmbeddedStore) -> None:
    entries = [
        journaled(10, late=True),
        journaled(20, momentary=True, sentence="The power was cut."),
        journaled(30, priority=Priority.JOURNAL, sentence="Only written down."),
        journaled(55, late=True, active=False),
        Entry("act/1", T0 + 65 * NS, EntryKind.NOTE, by="ada", data={"what": "mark", "text": "bale changed"}),
    ]
    notes = [
        Note(1, 1, T0 + 80 * NS, "ben", "smells", "note"),
        Note(2, 1, T0 + 200 * NS, "ben", "out", "note"),
    ]
    made = timeline(store, entries, T0 + 50 * NS, T0 + 110 * NS, FACTS, notes)
    assert [((s.time_ns - T0) // NS, s.old, s.new) for s in made.settings] == [(60, 600, 640), (95, 640, 650)]
    assert [(c.start_ns - T0) // NS for c in made.cleanings] == [90]
    assert made.cleanings[0].period_s == 50.0
    assert [(b.late, b.ended) for b in made.alarms] == [(True, "returned")]
    assert [(m.kind, m.by, m.text) for m in made.marks] == [
        ("mark", "ada", "bale changed"),
        ("note", "ben", "smells"),
    ]
    assert made.phases and made.phases[0].start_ns >= made.start_ns and made.phases[-1].end_ns <= made.end_ns


def test_findings_that_call_nobody_are_marks(store: EmbeddedStore) -> None:
    entries = [
        journaled(60, momentary=True, sentence="The power was cut."),
        journaled(70, priority=Priority.JOURNAL, sentence="Only written down."),
        journaled(75, priority=Priority.JOURNAL, active=False),
        journaled(80, priority=Priority.HIGH),
    ]
    made = timeline(store, entries, T0 + 50 * NS, T0 + 110 * NS, FACTS)
    assert [m.text for m in made.marks] == ["The power was cut.", "Only written down."]


def test_a_settings_change_against_the_value_from_before_the_stretch_is_one(store: EmbeddedStore) -> None:
    made = timeline(store, [], T0 + 59 * NS, T0 + 61 * NS, FACTS)
    assert [(s.old, s.new) for s in made.settings] == [(600, 640)]
    assert timeline(store, [], T0 + 61 * NS, T0 + 62 * NS, FACTS).settings == []
