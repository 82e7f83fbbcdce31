"""Alarms on the live page, as bars in the ledger, and their evidence."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import pytest

from dashboard.alarm_bars import bars_of, evidence_of, lines_of
from dashboard.alarm_views import alarm_key, alarm_views, parts_of, start_of
from historian.frame import NS
from rules.entry import Act, ActKind, Entry, EntryKind
from rules.finding import Evidence, Finding, Priority
from rules.lifecycle import LifeCycle, Transition
from rules.states import State
from trials.bars import alarm_bars

T0 = 1_777_874_400 * NS
FOUND = Finding(
    "heater-power",
    "filter.plate.5",
    True,
    T0 + 60 * NS,
    T0,
    Priority.MEDIUM,
    "Plate 5 is losing heat.",
    "Compare its current.",
    Evidence(T0 - 300 * NS, T0, ("filter.plate.5.temp.pv",), {"below_set_point": (7.4, "K")}),
)
KEY = "heater-power|filter.plate.5"
WINDOW = (T0 - 600 * NS, T0 + 3600 * NS)


@dataclass
class Standing:
    """An alarm as the journal gives it."""

    state: State = State.UNACKNOWLEDGED
    priority: Priority = Priority.MEDIUM
    rule: str = "heater-power"
    subject: str = "filter.plate.5"
    sentence: str = "Plate 5 is losing heat."
    advice: str = "Compare its current."
    onset_ns: int = T0
    since_ns: int = T0 + 60 * NS
    evidence: dict[str, Any] = field(default_factory=dict)
    shelved_until_ns: int | None = None


def journal_of(cycle: LifeCycle, *steps: tuple[int, Finding | Act]) -> list[Entry]:
    """What the journal holds after findings and acts at seconds since the start."""
    entries: list[Entry] = []
    for second, step in steps:
        at_ns = T0 + second * NS
        if isinstance(step, Finding):
            data = step.to_json()
            entries.append(
                Entry(f"f{second}", at_ns, EntryKind.FINDING, step.rule, step.subject, "rules", data)
            )
            changes = cycle.finding(step, at_ns)
        else:
            data = {"what": step.what, "role": step.role, "reason": step.reason}
            entries.append(Entry(f"a{second}", at_ns, EntryKind.ACT, step.rule, step.subject, step.by, data))
            changes = cycle.act(step, at_ns)
        for n, change in enumerate(changes):
            assert isinstance(change, Transition)
            words = (change.rule, change.subject, change.by, change.to_json())
            entries.append(Entry(f"t{second}/{n}", change.time_ns, EntryKind.TRANSITION, *words))
    return entries


def seen_at(second: int) -> tuple[int, Act]:
    return second, Act(1, T0 + second * NS, "ana", "operator", ActKind.SEEN, FOUND.rule, FOUND.subject)


def over_at(second: int) -> tuple[int, Finding]:
    return second, replace(FOUND, active=False, time_ns=T0 + second * NS)


def test_an_alarm_is_thick_until_seen_and_thin_until_returned() -> None:
    entries = journal_of(LifeCycle(), (60, FOUND), seen_at(300), over_at(900))
    bars = bars_of(alarm_bars(entries), WINDOW, 0, "UTC")
    spans = [((b.start_ms - T0 / 1e6) / 1000, (b.end_ms - T0 / 1e6) / 1000, b.heavy, b.hollow) for b in bars]
    assert spans == [(60.0, 300.0, True, False), (300.0, 900.0, False, False)]
    assert {b.key for b in bars} == {f"{KEY}|{T0 + 60 * NS}"}
    assert "raised 06:01:00, seen 06:05:00, returned 06:15:00" in bars[0].hover
    assert [b.text for b in bars] == ["plate 5", ""]


def test_over_before_seen_is_hollow_until_somebody_sees_it() -> None:
    entries = journal_of(LifeCycle(), (60, FOUND), over_at(300), seen_at(900))
    bars = bars_of(alarm_bars(entries), WINDOW, 0, "UTC")
    assert [(b.heavy, b.hollow) for b in bars] == [(True, False), (False, True)]


def test_a_late_finding_is_hollow_and_makes_no_standing_alarm() -> None:
    late = replace(FOUND, late=True)
    found = alarm_bars(journal_of(LifeCycle(), (600, late)))
    bars = bars_of(found, WINDOW, 0, "UTC")
    assert [(b.hollow, b.text) for b in bars] == [(True, "plate 5, found late")]
    assert lines_of(found, WINDOW, "UTC")[0].late


def test_what_still_stands_reaches_the_edge_and_says_so() -> None:
    found = alarm_bars(journal_of(LifeCycle(), (60, FOUND)))
    assert bars_of(found, WINDOW, 0, "UTC")[-1].end_ms == WINDOW[1] / 1e6
    assert lines_of(found, WINDOW, "UTC")[0].span == "06:01 still standing"
    assert bars_of(found, (T0 - 900 * NS, T0 - 800 * NS), 0, "UTC") == ()


def test_an_alarm_that_came_twice_has_two_lives_in_one_lane() -> None:
    steps = [(60, FOUND), seen_at(300), over_at(400), (900, replace(FOUND, sentence="Again.")), seen_at(1000)]
    entries = journal_of(LifeCycle(), *steps)
    bars = bars_of(alarm_bars(entries), WINDOW, 0, "UTC")
    assert {b.lane for b in bars} == {0}
    assert [b.text for b in bars] == ["plate 5", "", "", ""]
    lives = [evidence_of(entries, FOUND.rule, FOUND.subject, "UTC", start_ns=start_of(b.key)) for b in bars]
    assert [s.sentence for s in lives if s] == ["Plate 5 is losing heat."] * 2 + ["Again."] * 2
    last = evidence_of(entries, FOUND.rule, FOUND.subject, "UTC", before_ns=T0 + 500 * NS)
    assert last is not None
    assert last.sentence == "Plate 5 is losing heat."
    assert len(last.acts) == 4
    assert lines_of(alarm_bars(entries), WINDOW, "UTC")[0].span == "06:01 still standing, 2 times"


def test_evidence_names_figures_and_what_people_did() -> None:
    entries = journal_of(LifeCycle(), (60, FOUND), seen_at(300), over_at(900))
    seen = evidence_of(entries, FOUND.rule, FOUND.subject, "UTC")
    assert seen is not None
    assert seen.figures == (("below set point", "7.4 K"),)
    assert seen.window == "looked at 05:55:00–06:00:00"
    assert [words for _, words in seen.acts] == [
        "raised",
        "ana (operator) seen here",
        "seen, still standing",
        "over",
    ]
    assert evidence_of(entries, "heater-power", "filter.plate.6", "UTC") is None


def test_unseen_and_grave_come_first_and_shelved_last() -> None:
    alarms = [
        Standing(State.SHELVED, Priority.HIGH, subject="filter.plate.1", shelved_until_ns=T0 + 1800 * NS),
        Standing(State.ACKNOWLEDGED, Priority.MEDIUM, subject="filter.plate.2"),
        Standing(State.UNACKNOWLEDGED, Priority.MEDIUM, subject="filter.plate.3"),
        Standing(State.UNACKNOWLEDGED, Priority.HIGH, subject="filter.plate.4"),
        Standing(State.NORMAL, subject="filter.plate.6"),
        Standing(State.SUPPRESSED, subject="filter.plate.7"),
    ]
    views = alarm_views(alarms, T0 + 600 * NS, T0 + 600 * NS, "UTC", {})
    assert [v.place for v in views] == ["plate 4", "plate 3", "plate 2", "plate 1"]
    assert [(v.bars, v.word) for v in views][:2] == [(3, "now"), (2, "soon")]
    assert views[-1].shelved == "shelved, 20 min left, until 06:30"
    assert [v.seen for v in views] == [False, False, True, True]


@pytest.mark.parametrize(
    ("state", "words"),
    [
        (State.UNACKNOWLEDGED, "since 06:00 (for 10 min)"),
        (State.RETURNED, "from 06:00; its condition was over at 06:01"),
    ],
)
def test_since_when_is_told(state: State, words: str) -> None:
    assert alarm_views([Standing(state)], T0 + 600 * NS, T0 + 600 * NS, "UTC", {})[0].since == words


def test_what_was_asked_for_is_told_until_the_rules_take_it() -> None:
    view = alarm_views([Standing()], T0, T0, "UTC", {KEY: "seen: noted"})[0]
    assert view.asked == "seen: noted"


def test_keys_lead_back() -> None:
    assert parts_of(alarm_key("rule-a", "filter.plate.5")) == ("rule-a", "filter.plate.5")
    assert parts_of("nothing") == ("nothing", "")
    assert parts_of("rule-a|filter.plate.5|123") == ("rule-a", "filter.plate.5")
    assert start_of("rule-a|filter.plate.5|123") == 123
    assert start_of("rule-a|filter.plate.5") is None
    assert start_of("rule-a|x|" + "9" * 30) is None
