"""Roots and consequences: the same whatever the order, the first-out at the top, and never a graver one hidden."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from historian.frame import NS
from historian.tags import Tag
from rules.block import Block
from rules.engine import Engine
from rules.entry import Act, ActKind, Entry, EntryKind
from rules.finding import Evidence, Finding, Priority
from rules.grouping import BEFORE_NS, LINGER_NS, Grouping, Name
from rules.replay import replay
from rules.states import State
from rules.table import RULES
from rules.table.rule import MACHINE, SAME_MACHINE, SAME_PART, Rule
from tests.rules.toys import T0, frame_at, tags_of

HIGH, MEDIUM, LOW = Priority.HIGH, Priority.MEDIUM, Priority.LOW


def about(*roots: str, reach: str = "line", signal_fault: bool = False) -> Rule:
    return Rule(
        "cause", "consequence", "advice", MEDIUM, "line", MACHINE, 600,
        roots=roots, reach=reach, signal_fault=signal_fault,
    )  # fmt: skip


TABLE = {
    "stop": about(),
    "supply": about(reach=SAME_MACHINE),
    "open": about("supply", "stop", reach=SAME_PART),
    "weak": about("open"),
    "creep": about("stop"),
    "silent": about(signal_fault=True),
    "frozen": about(signal_fault=True),
    "failed": about(signal_fault=True),
    "one": about("other"),
    "other": about("one"),
}
P, Q, SILENT = "filter.inlet.pressure.pv", "filter.plate.1.temp.pv", ("silent", "source.plc")
TAGS = {p: replace(t, source="plc") for p, t in tags_of((P, Q)).items()} | tags_of(("water.flow.pv",))


def finding(
    rule: str,
    subject: str = "filter",
    at_s: float = 0,
    *,
    priority: Priority = MEDIUM,
    tags: Sequence[str] = (),
    active: bool = True,
    **rest: Any,
) -> Finding:
    time_ns = T0 + int(at_s * NS)
    evidence = Evidence(time_ns, time_ns, tuple(tags))
    return Finding(rule, subject, active, time_ns, time_ns, priority, "Seen.", "Look.", evidence, **rest)


def roots(*findings: Finding, at_s: float = 0, tags: Mapping[str, Tag] = TAGS) -> dict[Name, Name]:
    grouping = Grouping(TABLE, tags)
    for one in findings:
        grouping.take(one, T0 + int(at_s * NS))
    return dict(grouping.roots(T0 + int(at_s * NS)))


def test_a_stop_is_the_root_of_a_creep_and_a_creep_is_no_root_of_a_stop() -> None:
    assert roots(finding("stop"), finding("creep")) == {("creep", "filter"): ("stop", "filter")}
    assert roots(finding("creep"), finding("weak")) == {}


def test_the_roots_root_is_the_root_of_all() -> None:
    found = roots(finding("weak"), finding("open"), finding("supply"))
    assert found == {(r, "filter"): ("supply", "filter") for r in ("open", "weak")}


def test_of_several_roots_the_first_out_is_taken() -> None:
    first, later = finding("stop", "doser", 5), finding("supply", "filter", 9)
    assert roots(first, later, finding("open", "filter", 10)) == {("open", "filter"): ("stop", "doser")}


def test_at_the_same_time_the_name_decides() -> None:
    found = roots(finding("stop", "b"), finding("stop", "a"), finding("creep"))
    assert found == {("creep", "filter"): ("stop", "a")}


def test_a_silent_source_is_the_root_of_all_that_its_signals_show_and_of_no_other() -> None:
    plates = [finding("open", f"filter.plate.{n}", 31, tags=[Q]) for n in range(50)]
    silent = finding(*SILENT, tags=[P])  # its evidence names a few of its signals only
    water = finding("creep", "water", 31, tags=["water.flow.pv"])
    assert roots(silent, *plates, water) == {("open", f"filter.plate.{n}"): SILENT for n in range(50)}


def test_a_silent_source_is_the_root_of_its_frozen_sensor_and_never_the_reverse() -> None:
    frozen = finding("frozen", P, 0, tags=[P])
    assert roots(frozen, finding(*SILENT, 3)) == {("frozen", P): SILENT}
    both = roots(frozen, finding("failed", P, 1, tags=[P]))
    assert both == {("failed", P): ("frozen", P)}


def test_the_reach_of_a_root() -> None:
    assert roots(finding("supply", "filter"), finding("open", "filter.plate.2"))
    assert not roots(finding("supply", "extruder"), finding("open", "filter.plate.2"))
    assert roots(finding("open", "filter.plate.2"), finding("weak", "filter.plate.2.left"))
    assert not roots(finding("open", "filter.plate.2"), finding("weak", "filter.plate.22"))


def test_what_began_well_before_its_root_is_no_consequence() -> None:
    before_s = BEFORE_NS / NS
    assert roots(finding("stop", at_s=before_s), finding("creep"))
    assert not roots(finding("stop", at_s=before_s + 1), finding("creep"))


def test_a_consequence_graver_than_its_root_is_none() -> None:
    assert roots(finding("stop", priority=HIGH), finding("creep", priority=HIGH))
    assert not roots(finding("stop"), finding("creep", priority=HIGH))


@pytest.mark.parametrize("odd", [{"late": True}, {"momentary": True}, {"priority": Priority.JOURNAL}])
def test_what_makes_no_standing_alarm_is_no_root(odd: dict[str, Any]) -> None:
    assert not roots(finding("stop", **odd), finding("creep", priority=Priority.JOURNAL), finding("creep"))


def test_an_alarm_out_of_service_is_no_root() -> None:
    grouping = Grouping(TABLE, TAGS)
    grouping.take(finding("stop"), T0)
    grouping.take(finding("creep"), T0)
    assert grouping.roots(T0, frozenset({("stop", "filter")})) == {}
    assert grouping.roots(T0) != {}


def test_alarms_that_are_roots_of_one_another_have_one_root() -> None:
    assert roots(finding("one", at_s=1), finding("other")) == {("one", "filter"): ("other", "filter")}


def test_when_the_root_is_over_its_consequences_have_a_while() -> None:
    grouping = Grouping(TABLE, TAGS)
    for one in (finding("stop"), finding("creep", at_s=5)):
        grouping.take(one, T0 + 5 * NS)
    grouping.take(finding("stop", at_s=100, active=False), T0 + 100 * NS)
    assert grouping.roots(T0 + 100 * NS + LINGER_NS - 1) == {("creep", "filter"): ("stop", "filter")}
    assert grouping.roots(T0 + 100 * NS + LINGER_NS) == {}


def test_a_root_that_flickers_keeps_its_group() -> None:
    grouping = Grouping(TABLE, TAGS)
    steps = (finding("stop"), finding("creep", at_s=5), finding("stop", at_s=100, active=False))
    for one in (*steps, finding("stop", at_s=120)):
        grouping.take(one, one.time_ns)
    assert grouping.roots(T0 + 900 * NS) == {("creep", "filter"): ("stop", "filter")}


def test_a_rule_that_has_stopped_hides_nothing() -> None:
    grouping = Grouping(TABLE, TAGS)
    for one in (finding("stop"), finding("creep")):
        grouping.take(one, T0)
    grouping.keep_only(["creep"], T0)
    assert grouping.roots(T0 + LINGER_NS) == {}


_some = st.builds(
    finding,
    st.sampled_from(list(TABLE)),
    st.sampled_from(["filter", "filter.plate.1", "doser", "source.plc"]),
    st.integers(0, 200),
    priority=st.sampled_from(Priority),
    tags=st.lists(st.sampled_from([P, Q, "water.flow.pv"]), max_size=2, unique=True),
)


def _of_different_alarms(found: list[Finding]) -> list[Finding]:
    return list({(f.rule, f.subject): f for f in found}.values())


@settings(deadline=None)
@given(st.lists(_some, max_size=14).map(_of_different_alarms), st.randoms(use_true_random=False))
def test_the_order_within_a_second_does_not_matter(found: list[Finding], random: Any) -> None:
    """And: every root is announced itself, is no graver hidden, and stands in the table's tree above."""
    shuffled = list(found)
    random.shuffle(shuffled)
    got = roots(*found)
    assert got == roots(*shuffled)
    by_name = {(f.rule, f.subject): f for f in found}
    for name, root in got.items():
        assert root not in got
        assert by_name[name].priority <= by_name[root].priority


_step = st.tuples(_some, st.booleans(), st.integers(0, 120))


@settings(deadline=None)
@given(st.lists(_step, max_size=25), st.integers(0, 25))
def test_saved_and_restored_changes_nothing(steps: list[tuple[Finding, bool, int]], cut: int) -> None:
    kept, restored, now = Grouping(TABLE, TAGS), Grouping(TABLE, TAGS), T0
    for n, (one, active, later_s) in enumerate(steps):
        now += later_s * NS
        if n == cut:
            state = json.loads(json.dumps(restored.save()))
            restored = Grouping(TABLE, TAGS)
            restored.restore(state)
            assert restored.save() == kept.save()
        for grouping in (kept, restored):
            grouping.take(replace(one, active=active), now)
        assert kept.roots(now) == restored.roots(now)


class Scripted:
    """Says what stands in the script for the second that is over."""

    rule = "scripted"

    def __init__(self, script: Mapping[int, Sequence[Finding]]) -> None:
        self.script = script

    def update(self, block: Block) -> list[Finding]:
        return []

    def advance(self, now_ns: int) -> Sequence[Finding]:
        return self.script.get((now_ns - T0) // NS, ())

    def save(self) -> dict[str, Any]:
        return {}

    def restore(self, state: Mapping[str, Any]) -> None:
        pass


class Judging(Scripted):
    """The same under the name of a rule, so that the engine knows it as one that judges."""

    def __init__(self, rule: str, script: Mapping[int, Sequence[Finding]]) -> None:
        super().__init__(script)
        self.rule = rule


def makers(script: Mapping[int, Sequence[Finding]]) -> list[Scripted]:
    """One detector a rule; the first says everything."""
    first, *others = TABLE
    return [Judging(first, script), *(Judging(rule, {}) for rule in others)]


def line(script: Mapping[int, Sequence[Finding]]) -> Engine:
    return Engine(TAGS, lambda: makers(script), about=TABLE)


def run(engine: Engine, seconds: Sequence[int], acts: Mapping[int, Act] | None = None) -> list[Entry]:
    out: list[Entry] = []
    for n in seconds:
        if acts and n in acts:
            engine.act(acts[n])
        engine.feed(n + 1, frame_at(n + 0.1))
        out += engine.advance(T0 + (n + 1) * NS)
    return out


def moves(entries: list[Entry], rule: str) -> list[str]:
    return [
        e.data["from"] + e.data["to"] for e in entries if e.kind is EntryKind.TRANSITION and e.rule == rule
    ]


def test_a_consequence_is_listed_with_its_root_and_never_announced() -> None:
    script = {3: [finding("creep", at_s=3), finding("stop", at_s=3)]}
    entries = run(line(script), range(6))
    assert moves(entries, "creep") == ["AH", "HH"] and moves(entries, "stop") == ["AB"]
    first = next(e for e in entries if e.kind is EntryKind.TRANSITION and e.rule == "creep")
    assert first.data["root"] == ["stop", "filter"]
    assert first.data["reason"] == "a consequence of stop of filter"
    assert first.data["sentence"] == "Seen." and first.data["condition"] is True
    assert [e.rule for e in entries if e.kind is EntryKind.FINDING] == ["creep", "stop"]


def test_a_root_found_later_takes_its_consequence_out_of_sight() -> None:
    script = {3: [finding("creep", at_s=3)], 9: [finding("stop", at_s=2)]}
    entries = run(line(script), range(12))
    assert moves(entries, "creep") == ["AB", "BH"]


def test_a_consequence_that_outlives_its_root_is_announced_and_one_that_ends_is_not() -> None:
    script = {
        3: [finding("stop", at_s=3), finding("creep", at_s=3), finding("open", at_s=3)],
        5: [finding("stop", at_s=5, active=False)],
        7: [finding("open", at_s=7, active=False)],
    }
    entries = run(line(script), range(5 + LINGER_NS // NS + 5))
    assert moves(entries, "open") == ["AH", "HH", "HH", "HA"]
    assert moves(entries, "creep") == ["AH", "HH", "HB"]
    back = [e for e in entries if e.kind is EntryKind.TRANSITION and e.rule == "creep"][-1]
    assert (back.time_ns - T0) // NS == 5 + LINGER_NS // NS
    assert back.data["root"] is None and "still stands" in back.data["reason"]


def test_a_root_taken_out_of_service_hides_nothing() -> None:
    script = {3: [finding("stop", at_s=3), finding("creep", at_s=3)]}
    act = Act(1, T0 + 5 * NS, "ada", "engineer", ActKind.OUT_OF_SERVICE, "stop", "filter", "sensor mended")
    entries = run(line(script), range(9), {5: act})
    assert moves(entries, "creep") == ["AH", "HH", "HB"]


def test_a_silent_source_raises_one_alarm_for_fifty() -> None:
    fifty = [finding("open", f"filter.plate.{n}", 33, tags=[Q]) for n in range(50)]
    entries = run(line({34: [*fifty, finding(*SILENT, 4)]}), range(40))
    announced = [
        e for e in entries if e.kind is EntryKind.TRANSITION and e.data["to"] == State.UNACKNOWLEDGED
    ]
    assert [(e.rule, e.subject) for e in announced] == [SILENT]
    assert sum(e.kind is EntryKind.FINDING for e in entries) == 51


def _script(found: list[tuple[int, Finding, bool]]) -> dict[int, list[Finding]]:
    script: dict[int, list[Finding]] = {}
    for second, one, active in found:
        shift = T0 + second * NS
        script.setdefault(second, []).append(replace(one, active=active, time_ns=shift, onset_ns=shift))
    return {s: list({(f.rule, f.subject): f for f in lot}.values()) for s, lot in script.items()}


SECONDS = [*range(24), *range(LINGER_NS // NS + 15, LINGER_NS // NS + 30)]
"""A recorder that pauses: what lingers is over behind the pause, for some of it and then for all."""

_found = st.lists(st.tuples(st.integers(1, 20), _some, st.booleans()), max_size=20)


@settings(max_examples=30, deadline=None)
@given(_found, st.integers(0, len(SECONDS)), st.randoms(use_true_random=False))
def test_engine_order_stop_and_replay(found: list[tuple[int, Finding, bool]], cut: int, random: Any) -> None:
    """Shuffled within each second the states are the same; stopped and restored, or judged again, all is."""
    script = _script(found)
    shuffled = {s: random.sample(lot, len(lot)) for s, lot in script.items()}
    whole, other = line(script), line(shuffled)
    entries = run(whole, SECONDS)
    run(other, SECONDS)
    assert other.lifecycle.save() == whole.lifecycle.save()
    for alarm in whole.lifecycle.save()["alarms"]:
        assert (alarm["root"] is not None) == (State(alarm["state"]) is State.SUPPRESSED)
        if alarm["root"] is not None:
            assert alarm["condition"]
            assert whole.lifecycle.state(*alarm["root"]) is not State.SUPPRESSED
    first = line(script)
    start = run(first, SECONDS[:cut])
    second = line(script)
    second.restore(json.loads(json.dumps(first.save())))
    assert [*start, *run(second, SECONDS[cut:])] == entries
    frames = ((n + 1, frame_at(n + 0.1)) for n in SECONDS)
    assert list(replay(frames, TAGS, lambda: makers(script), about=TABLE)) == entries


def test_the_tables_tree_names_rules_that_exist_and_has_no_circle() -> None:
    def above(rule: str, seen: tuple[str, ...] = ()) -> None:
        assert rule not in seen, f"a circle: {' under '.join((*seen, rule))}"
        for root in RULES[rule].roots:
            assert root in RULES, f"{rule}: there is no rule '{root}'"
            above(root, (*seen, rule))

    for rule in RULES:
        above(rule)
    assert RULES["source-silent"].signal_fault
