"""The edge's own clock wrong: what is recorded keeps its time, and goes on when the clock is set right."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.clocks.edge import EdgeClock
from historian import NS
from historian.quality import GOOD
from tests.collector.clock_line import DAY_NS, HOUR_NS, ClockLine, T


def true_times(line: ClockLine, *sources: str) -> None:
    """Every sample once, good, at the time that its source stamped."""
    for source in sources or ("plc",):
        kept = line.kept(source)
        sent = {v: stamp_ns for v, (name, stamp_ns, _) in line.sent.items() if name == source}
        assert {v: k[0] for v, k in kept.items()} == sent
        assert {k[3] for k in kept.values()} == {GOOD}


def arrival_goes_on(line: ClockLine) -> None:
    """It never falls, and a second never stands still for long: the rules go on."""
    arrivals = [f.arrival_ns for f in line.frames]
    assert all(a <= b for a, b in pairwise(arrivals))


def power_cut(line: ClockLine, seconds: float, off_ns: int) -> None:
    line.inbox.lost("plc")
    line.cut()
    line.at_ns += int(seconds * NS)
    line.edge_off_ns = off_ns
    line.start()


@pytest.mark.parametrize("off_ns", [-T, -T + 3 * DAY_NS, -3 * HOUR_NS, -40 * DAY_NS], ids=str)
def test_after_a_power_cut_the_clock_is_behind(off_ns: int) -> None:
    line = ClockLine()
    line.run(30)
    power_cut(line, 600, off_ns)
    line.run(30)
    assert line.kinds() == ["edge-clock-doubted"] and "this computer" in line.told[0].text.lower()
    assert line.inbox.clock_faults().keys() == {"edge"}
    assert abs(line.inbox.arrival_ns - line.at_ns) < 2 * NS, "as the source says"
    line.edge_off_ns = 0
    line.run(30)
    assert line.kinds() == ["edge-clock-doubted", "edge-clock-right"]
    assert line.inbox.clock_faults() == {}
    true_times(line)
    arrival_goes_on(line)
    assert {k[2] for k in line.kept().values()} == {0}


def test_without_a_source_time_goes_on_from_the_newest_record() -> None:
    line = ClockLine()
    line.run(30)
    power_cut(line, 600, -T)
    line.wait(100)
    newest_ns = max(f.arrival_ns for f in line.frames)
    assert abs(line.inbox.arrival_ns - (newest_ns + 100 * NS)) <= 10 * NS
    line.edge_off_ns = 0
    line.wait(20)
    assert abs(line.inbox.arrival_ns - line.at_ns) < 2 * NS
    assert line.kinds() == ["edge-clock-doubted", "edge-clock-right"]


@pytest.mark.parametrize("off_ns", [365 * DAY_NS, 3 * DAY_NS])
def test_a_year_ahead_at_the_start_and_set_back(off_ns: int) -> None:
    line = ClockLine()
    line.run(30)
    power_cut(line, 600, off_ns)
    line.wait(20)
    line.run(30)
    assert line.kinds() == ["edge-clock-doubted"] and "days ahead" in line.told[0].text
    assert max(f.arrival_ns for f in line.frames) < line.at_ns + 2 * NS
    line.edge_off_ns = 0
    line.run(30)
    assert line.kinds() == ["edge-clock-doubted", "edge-clock-right"]
    true_times(line)
    arrival_goes_on(line)


def test_a_long_stop_is_believed_once_a_source_says_so() -> None:
    line = ClockLine()
    line.run(30)
    power_cut(line, 21 * 86_400, 0)
    line.wait(30)
    assert line.kinds() == ["edge-clock-doubted"]
    line.run(10)
    assert line.kinds() == ["edge-clock-doubted", "edge-clock-right"]
    true_times(line)
    assert abs(line.inbox.arrival_ns - line.at_ns) < 2 * NS


def test_a_long_stop_needs_no_source_where_a_time_server_vouches() -> None:
    line = ClockLine(believed=lambda now_ns: True)
    line.run(30)
    power_cut(line, 21 * 86_400, 0)
    line.wait(10)
    assert line.kinds() == []
    assert line.inbox.arrival_ns == line.at_ns


def test_a_clock_that_is_not_set_in_a_new_store() -> None:
    line = ClockLine(edge_off_ns=-T)
    line.run(20)
    line.edge_off_ns = 0
    line.run(20)
    assert line.kinds() == ["edge-clock-doubted", "edge-clock-right"]
    true_times(line)
    arrival_goes_on(line)


def test_with_one_source_and_a_new_store_nobody_can_tell() -> None:
    line = ClockLine(edge_off_ns=365 * DAY_NS)
    line.run(30)
    assert line.kinds() == ["clock-wrong"]
    assert "nobody can tell which of the two clocks is wrong: this computer's counts" in line.told[0].text
    assert line.originals() == {v: stamp_ns for v, (_, stamp_ns, _) in line.sent.items()}
    line.edge_off_ns = 0
    for _ in range(10):
        before_ns = line.inbox.arrival_ns
        line.run(10)
        assert line.inbox.arrival_ns - before_ns >= 5 * NS, "the rules do not stand still"
    arrival_goes_on(line)
    assert line.kept().keys() == line.sent.keys()


def test_several_sources_outvote_the_clock() -> None:
    line = ClockLine(names=("plc", "meter", "press"), edge_off_ns=-20 * 60 * NS)
    for _ in range(30):
        line.send(0)
        line.send(300_000_000, source="meter")
        line.send(-9 * DAY_NS, source="press")
        line.cut()
        line.at_ns += NS
    assert line.inbox.clock_faults().keys() == {"edge", "press"}
    true_times(line, "plc", "meter")
    assert abs(line.inbox.arrival_ns - line.at_ns) < 2 * NS
    assert line.originals("press") == {v: s for v, (n, s, _) in line.sent.items() if n == "press"}


def test_machines_that_come_back_one_after_the_other_are_waited_for() -> None:
    line = ClockLine(names=("plc", "meter"))
    for second in range(80):
        if second == 30:
            line.inbox.lost("meter")
            power_cut(line, 15, -10 * NS)
        line.send(0)
        if not 30 <= second < 42:
            line.send(-200_000_000, source="meter")
        line.cut()
        line.at_ns += NS
    assert line.kinds().count("edge-clock-doubted") == 1 and "clock-wrong" not in line.kinds()
    true_times(line, "plc", "meter")
    arrival_goes_on(line)


@pytest.mark.parametrize("others", [("meter",), ("meter", "press")])
def test_a_machine_that_is_ahead_at_the_start_is_told_so_all_the_same(others: tuple[str, ...]) -> None:
    line = ClockLine(names=("plc", *others))
    for second in range(30):
        line.send(10 * NS)
        for name in others if second >= 5 else ():
            line.send(0, source=name)
        line.cut()
        line.at_ns += NS
    assert line.kinds() == ["clock-wrong"] and line.inbox.clock_faults().keys() == {"plc"}
    true_times(line, *others)
    assert line.originals("plc") == {v: s for v, (n, s, _) in line.sent.items() if n == "plc"}


def test_who_comes_alone_is_not_waited_with_for_ever() -> None:
    line = ClockLine(names=("plc", "meter"))
    line.run(14, 10 * NS)
    assert line.kept() == {} and line.kinds() == []
    line.run(3, 10 * NS)
    assert line.kinds() == ["clock-wrong"] and line.kept().keys() == line.sent.keys()
    # A run that ends meanwhile keeps what it has.
    line = ClockLine(names=("plc", "meter"))
    line.run(5, 10 * NS)
    line.cut(last=True)
    assert line.kept().keys() == line.sent.keys()


@pytest.mark.parametrize("away_s", [3, 8, 15])
def test_a_start_with_the_clock_ten_seconds_back_is_the_computers_not_the_machines(away_s: int) -> None:
    line = ClockLine(names=("plc", "meter"))
    for second in range(60):
        if second == 30:
            line.inbox.lost("meter")
            power_cut(line, away_s, -10 * NS)
        line.send(0)
        line.send(-200_000_000, source="meter")
        line.cut()
        line.at_ns += NS
    assert line.inbox.clock_faults().keys() == {"edge"}
    true_times(line, "plc", "meter")


def test_sources_on_one_local_time_outvote_nobody() -> None:
    line = ClockLine(names=("plc", "meter"))
    for _ in range(30):
        line.send(2 * HOUR_NS)
        line.send(2 * HOUR_NS, source="meter")
        line.cut()
        line.at_ns += NS
    assert line.inbox.clock_faults().keys() == {"plc", "meter"}
    assert all(k[0] == line.sent[v][2] for v, k in line.kept().items())


@pytest.mark.parametrize(
    "off_ns", [-10 * NS, 10 * NS, -HOUR_NS, HOUR_NS, -365 * DAY_NS, 365 * DAY_NS, -T], ids=str
)
def test_the_clock_is_set_wrong_and_right_again_while_the_line_runs(off_ns: int) -> None:
    line = ClockLine()
    line.run(30)
    line.edge_off_ns = off_ns
    line.run(30)
    assert abs(line.inbox.arrival_ns - line.at_ns) < 2 * NS, "the source did not step"
    line.edge_off_ns = 0
    line.run(30)
    assert line.kinds() == ["edge-clock-doubted", "edge-clock-right"]
    true_times(line)
    arrival_goes_on(line)
    assert {k[2] for k in line.kept().values()} == {0}


def test_a_computer_that_slept_is_believed() -> None:
    line = ClockLine()
    line.run(30)
    line.at_ns += 3 * HOUR_NS
    line.run(30)
    assert line.kinds() == []
    true_times(line)
    assert abs(line.inbox.arrival_ns - line.at_ns) < 2 * NS


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.sampled_from([0, 0, -10 * NS, 3 * NS, HOUR_NS, -2 * HOUR_NS, -T, 400 * DAY_NS, -400 * DAY_NS]),
            st.sampled_from(["run", "run", "cut", "wait"]),
        ),
        max_size=6,
    )
)
def test_whatever_the_clock_does_nothing_is_lost_and_time_goes_on(steps: list[tuple[int, str]]) -> None:
    line = ClockLine(tags=2)
    line.run(20)
    for off_ns, how in steps:
        if how == "cut":
            power_cut(line, 300, off_ns)
        line.edge_off_ns = off_ns
        if how == "wait":
            line.wait(30)
        line.run(20)
    line.edge_off_ns = 0
    before_ns = line.inbox.arrival_ns
    line.run(40)
    assert line.inbox.arrival_ns > before_ns + 15 * NS
    line.cut(last=True)
    arrival_goes_on(line)
    originals = line.originals()
    assert originals.keys() == line.sent.keys()
    assert all(originals[v] in (stamp_ns, None) for v, (_, stamp_ns, _) in line.sent.items())


def test_who_vouches_is_asked_now_and_then_only() -> None:
    asked: list[int] = []
    clock = EdgeClock(T, lambda now_ns: bool(asked.append(now_ns)))
    clock.knows("plc", T)
    for k in range(100):
        clock.at(T + 365 * DAY_NS + k * NS, lambda righted: {})
    assert 9 <= len(asked) <= 11


def test_machines_that_were_moved_before_the_clock_was_doubted_do_not_speak_for_it() -> None:
    line = ClockLine(names=("plc", "meter"))
    line.run(30)
    power_cut(line, 15, -10 * NS)
    for second in range(90):
        line.send(0)
        if second >= 20:  # it comes later, when the first one has been taken to be ahead
            line.send(-200_000_000, source="meter")
        line.cut()
        line.at_ns += NS
    edges = [kind for kind in line.kinds() if kind.startswith("edge-")]
    assert edges.count("edge-clock-doubted") <= 1 and "edge-clock-right" not in edges
    assert line.inbox.clock_faults().keys() == {"edge"}
    line.edge_off_ns = 0
    for _ in range(60):
        line.send(0)
        line.send(-200_000_000, source="meter")
        line.cut()
        line.at_ns += NS
    assert line.inbox.clock_faults() == {}
