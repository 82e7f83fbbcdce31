"""Sources with wrong clocks: kept under arrival, the original to be had again, and lateness is never wrong."""

from __future__ import annotations

from collections import deque
from typing import cast

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from collector.clocks.wrong import BEHIND_NS, FUTURE_NS, OLD_NS
from historian import NS
from historian.quality import GOOD, UNCERTAIN
from tests.collector.clock_line import DAY_NS, HOUR_NS, ClockLine, T

UNSET = -T
OFFS = {
    "1970": UNSET,
    "a year ahead": 365 * DAY_NS,
    "a year behind": -365 * DAY_NS,
    "local time ahead": 2 * HOUR_NS,
    "local time behind": -5 * HOUR_NS - 1800 * NS,
    "forty days behind": -40 * DAY_NS,
    "a day behind": -DAY_NS,
    "twenty minutes behind": -20 * 60 * NS,
    "ten seconds ahead": 10 * NS,
}


def all_right(line: ClockLine, source: str = "plc") -> None:
    """Every sample is there once, near its arrival, and gives back what was stamped."""
    kept, originals = line.kept(source), line.originals(source)
    sent = {v: s for v, s in line.sent.items() if s[0] == source}
    assert kept.keys() == sent.keys()
    for value, (_, stamp_ns, true_ns) in sent.items():
        assert -3 * NS <= kept[value][0] - true_ns <= FUTURE_NS
        assert originals[value] == stamp_ns


@pytest.mark.parametrize("off_ns", OFFS.values(), ids=OFFS)
def test_a_clock_that_is_wrong_from_the_start(off_ns: int) -> None:
    line = ClockLine()
    line.run(40, off_ns)
    all_right(line)
    assert line.kinds() == ["clock-wrong"]
    (event,) = line.told
    shift_ms = cast(int, event.data["shift_ms"])
    assert line.shifts().value.tolist() == [shift_ms] and line.inbox.shift_ns("plc") == shift_ms * 1_000_000
    assert {k[2] for k in line.kept().values()} == {1}
    assert line.inbox.clock_faults()["plc"] in event.text


@pytest.mark.parametrize("off_ns", OFFS.values(), ids=OFFS)
@pytest.mark.parametrize("lost", [True, False])
def test_a_clock_that_goes_wrong_and_is_set_right(off_ns: int, lost: bool) -> None:
    if lost and off_ns == 10 * NS:
        off_ns = 700 * NS  # so little is found out later: see below
    line = ClockLine()
    for off in (0, off_ns, 0):
        if lost and line.sent:
            line.inbox.lost("plc")
            line.wait(90)
        line.run(40, off)
    all_right(line)
    assert line.kinds() == ["clock-wrong", "clock-right"]
    assert line.inbox.clock_faults() == {} and line.inbox.shift_ns("plc") == 0


@pytest.mark.parametrize("off_ns", OFFS.values(), ids=OFFS)
def test_the_next_run_goes_on_with_the_shift(off_ns: int) -> None:
    line = ClockLine()
    line.run(40, off_ns)
    line.at_ns += 600 * NS
    line.start()
    line.run(20, off_ns)
    all_right(line)
    assert line.kinds() == ["clock-wrong"], "told once, in the first run"


def test_the_kinds_are_told_apart() -> None:
    words = {}
    for name, off_ns in OFFS.items():
        line = ClockLine()
        line.run(40, off_ns)
        words[name] = line.inbox.clock_faults()["plc"]
    assert words == {
        "1970": "its clock is not set: it shows 1970-01-01",
        "a year ahead": "its clock is 365.0 days ahead",
        "a year behind": "its clock is 365.0 days behind",
        "local time ahead": "it sends local time, 2:00 h ahead of UTC",
        "local time behind": "it sends local time, 5:30 h behind of UTC",
        "forty days behind": "its clock is 40.0 days behind",
        "a day behind": "its clock is 1.0 days behind",
        "twenty minutes behind": "its clock is 20.0 min behind",
        "ten seconds ahead": "its clock is 10.0 s ahead",
    }


def test_local_time_is_known_to_the_millisecond_and_stays_good() -> None:
    line = ClockLine()
    line.run(20, 2 * HOUR_NS, late_ns=(300_000_000, 700_000_000))
    assert set(line.shifts().value.tolist()) == {-7_200_000.0}
    for value, (_, stamp_ns, _) in line.sent.items():
        assert line.kept()[value][0] == stamp_ns - 2 * HOUR_NS
    assert {k[3] for k in line.kept().values()} == {GOOD}
    other = ClockLine()
    other.run(20, DAY_NS)
    assert {k[3] for k in other.kept().values()} == {UNCERTAIN}


def test_summer_time_is_named() -> None:
    line = ClockLine()
    line.run(20, HOUR_NS)
    line.run(20, 2 * HOUR_NS)
    assert line.kinds() == ["clock-wrong", "clock-wrong"]
    assert "change of summer time" in line.told[1].text and "change of" not in line.told[0].text
    all_right(line)


@pytest.mark.parametrize("start", ["empty", "stored", "lost"])
@pytest.mark.parametrize("hours", [0.5, 3, 24 * 6])
def test_what_waited_at_a_broker_is_true_however_late(start: str, hours: float) -> None:
    line = ClockLine()
    if start != "empty":
        line.run(30)
    line.inbox.lost("plc")
    began_ns = line.at_ns
    if start == "stored":
        line.at_ns += int(hours * HOUR_NS)
        line.start()
    else:
        line.wait(hours * 3600)
    count = int(hours * 60)
    for k in range(count):  # a message a minute waited, and comes in a flood
        line.send(0, age_ns=line.at_ns - began_ns - (k + 1) * 60 * NS)
        if k % 20 == 0:
            line.cut()
            line.at_ns += NS // 10
    line.run(30)
    kept = line.kept()
    assert kept.keys() == line.sent.keys()
    assert all(kept[v][0] == stamp_ns for v, (_, stamp_ns, _) in line.sent.items())
    # After six days without power a leap of the edge's clock needs the word of the source first.
    doubted = ["edge-clock-doubted", "edge-clock-right"] if (start, hours) == ("stored", 144) else []
    assert line.kinds() == doubted and len(line.shifts()) == 0
    assert {k[3] for k in kept.values()} == {GOOD}


def test_a_network_that_gets_slower_and_slower_only_makes_samples_late() -> None:
    line = ClockLine()
    line.run(30)
    for k in range(1500):  # up to 20 minutes late in the end
        line.send(0, age_ns=k * 800_000_000)
        line.cut()
        line.at_ns += NS
    kept = line.kept()
    assert line.kinds() == [] and len(line.shifts()) == 0
    assert all(kept[v][0] == stamp_ns for v, (_, stamp_ns, _) in line.sent.items())


def test_a_clock_a_little_ahead_that_is_set_right_while_it_is_away_is_found_out() -> None:
    """Ten seconds late or ten seconds set back: it is steady, so it was set."""
    line = ClockLine()
    line.run(30, 10 * NS)
    line.inbox.lost("plc")
    line.wait(90)
    line.run(40)
    assert line.kinds() == ["clock-wrong", "clock-right"]
    originals = line.originals()
    assert originals == {v: stamp_ns for v, (_, stamp_ns, _) in line.sent.items()}


def test_nothing_is_stored_under_a_wrong_time_before_it_is_known() -> None:
    """What nobody can tell yet waits, with its receipt; at the end of a run it is kept as it came."""
    line, told = ClockLine(), []
    columns = line.mappings[0]
    line.inbox.put_columns(
        columns.name, *_columns(line.numbers["plc"][0], T - 2 * HOUR_NS), receipt=lambda: told.append(1)
    )
    assert line.cut() == [] and line.inbox.receipts() == []
    line.at_ns += NS
    (frame,) = line.cut(last=True)
    assert frame.time_ns.tolist() == [T - 2 * HOUR_NS]
    (receipt,) = line.inbox.receipts()
    receipt()
    assert told == [1]


def _columns(tag: int, time_ns: int):  # type: ignore[no-untyped-def]
    import numpy as np

    return (
        np.array([tag], np.int32), np.array([time_ns]), np.array([1.0]), np.array([0], np.uint32),
    )  # fmt: skip


def test_values_that_have_not_changed_for_months_are_true() -> None:
    line = ClockLine()
    line.inbox.put("plc", line.numbers["plc"][0], T - 90 * DAY_NS, 1.0, GOOD, T)
    (frame,) = line.cut()
    assert frame.time_ns.tolist() == [T - 90 * DAY_NS] and line.told == []


def test_a_value_that_was_never_written_comes_to_its_arrival() -> None:
    """Servers stamp such with 1601 or 1970, before 64 bits of nanoseconds begin."""
    line = ClockLine()
    a, b, c = line.numbers["plc"]
    line.inbox.put("plc", a, T, 1.0, GOOD, T)
    line.inbox.put("plc", b, 0, 2.0, GOOD, T)
    line.inbox.put("plc", c, -11_644_473_600 * NS, 3.0, GOOD, T)
    (frame,) = line.cut()
    assert frame.time_ns.tolist() == [T, T, T]
    assert frame.quality.tolist() == [GOOD, UNCERTAIN, UNCERTAIN] and frame.clock_epoch == 0
    (event,) = line.told
    assert event.kind == "sample-from-past"
    found = {s["tag"]: s["stored_ns"] - s["shift_ms"] * 1_000_000 for s in event.data["strays"]}
    assert found == {"plc.t1.pv": 0, "plc.t2.pv": -11_644_473_600 * NS}


def test_a_tag_with_a_clock_of_its_own_does_not_pull_the_others() -> None:
    line = ClockLine()
    for k in range(30):
        line.send(0, tags=2)
        line.inbox.put("plc", line.numbers["plc"][2], k * NS, 1000.0 + k, GOOD)
        for frame in line.cut():
            assert frame.clock_epoch == 0 and set(frame.time_ns.tolist()) == {line.at_ns}
        line.at_ns += NS
    assert line.kinds() == ["sample-from-past"], "its distances stay, so one shift does for all"


def test_a_tag_whose_own_clock_is_set_back_waits_for_nobody() -> None:
    """A gateway has machines behind it: the clock of one of them is set back, the others go on."""
    line = ClockLine()
    own = line.numbers["plc"][2]
    for k in range(100):
        line.send(0, tags=2)
        line.inbox.put("plc", own, line.at_ns - (HOUR_NS if k >= 10 else 0), 1000.0 + k, GOOD)
        frames = line.cut()
        assert {f.clock_epoch for f in frames} == {0}
        if k >= 10:
            kept = [t for f in frames for t in f.time_ns[f.tag == own].tolist()]
            assert kept[-1] == line.at_ns, "kept at its arrival, at once"
        line.at_ns += NS
    assert line.kinds() == ["sample-from-past"]
    assert len(line.inbox.cut(line.at_ns, last=True)) == 0, "nothing is held any more"


SPOILT = {
    **dict.fromkeys((5, 6, 12), (-2 * DAY_NS, 800 * NS, UNSET, 0)),
    9: (UNSET,),
    15: (-40 * DAY_NS,),
    17: (365 * DAY_NS,),
}


def test_spoilt_time_stamps_among_good_ones_bring_nothing_else_with_them() -> None:
    """In one batch a tag is now, two days ago, in the future and at the first day of somebody's calendar."""
    line = ClockLine()
    spoilt = line.numbers["plc"][2]
    for k in range(20):
        line.send(0, tags=2)
        for n, off_ns in enumerate([0, *SPOILT.get(k, ())]):
            line.inbox.put("plc", spoilt, line.at_ns + off_ns + n, 1000.0 + 10 * k + n, GOOD)
        for frame in line.cut():
            assert frame.clock_epoch == 0
            assert (abs(frame.time_ns - line.at_ns) <= 2 * NS).all()
        line.at_ns += NS
    assert line.kinds() == ["sample-from-past"]
    assert line.inbox.cut(line.at_ns, last=True) == []


def test_a_broker_that_waits_for_acknowledgements_does_not_hide_a_wrong_clock() -> None:
    """What is held is not acknowledged; so nothing more comes, by which the clock could be told."""
    line = ClockLine(tags=1)
    (tag,) = line.numbers["plc"]
    queue: deque[int] = deque()
    unacknowledged: list[int] = []
    for _ in range(90):
        queue.append(line.at_ns - HOUR_NS)
        while queue and len(unacknowledged) < 3:
            unacknowledged.append(time_ns := queue.popleft())
            columns = (np.array([tag]), np.array([time_ns]), np.array([1.0]), np.array([GOOD]))
            line.inbox.put_columns("plc", *columns, receipt=unacknowledged.pop)  # type: ignore[arg-type]
        line.cut()
        for receipt in line.inbox.receipts():
            receipt()
        line.at_ns += NS
    assert line.kinds() == ["clock-wrong"]
    assert line.inbox.shift_ns("plc") == HOUR_NS


def test_history_that_is_fetched_from_a_wrong_clock_goes_beside_the_rest() -> None:
    from historian import Frame

    line = ClockLine()
    line.run(20, 365 * DAY_NS)
    lot = Frame.of([line.numbers["plc"][0]], [T + 365 * DAY_NS - 5 * NS], [7.0], [0], arrival_ns=0)
    line.inbox.put_lot("plc", lot)
    kept = [f for f in line.cut() if 7.0 in f.value.tolist()]
    assert abs(int(kept[0].time_ns[0]) - (T - 5 * NS)) < NS
    assert kept[0].clock_epoch == 1


def test_what_was_missed_is_not_asked_for_by_a_wrong_clock() -> None:
    for off_ns, asks in ((0, True), (365 * DAY_NS, False)):
        line = ClockLine()
        line.run(20, off_ns)
        line.inbox.lost("plc")
        line.wait(60)
        line.run(20, off_ns)
        assert bool(line.inbox.ended_gaps("plc")) is asks
        assert line.inbox.ended_gaps("plc") == []


def test_the_lag_is_told_as_stamped() -> None:
    line = ClockLine()
    line.run(20, -365 * DAY_NS)
    _, lag_ns = line.inbox.lag("plc")
    assert lag_ns == 365 * DAY_NS


CLOCKS = st.one_of(
    st.sampled_from([0, *OFFS.values()]),
    st.integers(-OLD_NS * 10, OLD_NS * 10).filter(lambda ns: not -BEHIND_NS - 30 * NS < ns < FUTURE_NS + NS),
)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(CLOCKS, st.booleans(), st.integers(0, 10**9)), min_size=1, max_size=4),
    st.lists(st.integers(0, 1_400_000_000), min_size=1, max_size=5),
    st.integers(-200, 200),
)
@example([(10 * NS, False, 0), (0, True, 0)], [0], -1)
@example([(UNSET, False, 0), (0, False, 0)], [999_000_001], 0)
def test_every_original_comes_back(clocks: list[tuple[int, bool, int]], late_ns: list[int], ppm: int) -> None:
    """Steps to any wrong time and back, live or over a loss, jitter and a clock that runs a little wrong."""
    line = ClockLine(tags=2)
    for off_ns, lost, fine_ns in clocks:
        if lost and line.sent:
            line.inbox.lost("plc")
            line.wait(300)
        for k in range(25):
            line.run(
                1, off_ns + (fine_ns if off_ns else 0) + k * ppm * 1000, late_ns=[late_ns[k % len(late_ns)]]
            )
    line.cut(last=True)
    kept, originals = line.kept(), line.originals()
    assert kept.keys() == line.sent.keys()
    untold = 0
    # A clock that was ahead and is right after a loss looks like samples that are late.
    ahead_ns = max(off_ns + fine_ns if off_ns < BEHIND_NS else 0 for off_ns, _, fine_ns in clocks)
    for value, (_, stamp_ns, true_ns) in line.sent.items():
        untold += originals[value] is None
        assert originals[value] in (stamp_ns, None)
        off_ns = kept[value][0] - true_ns
        assert -2 * FUTURE_NS - max(0, ahead_ns) <= off_ns <= 2 * FUTURE_NS, "never on a wrong day"
    # Of two tags, while a clock's first times lie among the last of the one before: as late as samples come here.
    assert untold <= 4 * (len(clocks) - 1)


@settings(max_examples=10, deadline=None)
@given(st.sampled_from([2000, 6000, -2000, -6000]), st.sampled_from([DAY_NS, -40 * DAY_NS, 20 * NS, UNSET]))
def test_a_clock_that_drifts_is_brought_back_again_and_again(ppm: int, off_ns: int) -> None:
    """Half an hour: where new times come to lie among old ones, the record says that nobody can tell."""
    line = ClockLine(tags=1)
    for k in range(1800):
        line.send(off_ns + k * ppm * 1000)
        line.cut()
        line.at_ns += NS
    kept, originals = line.kept(), line.originals()
    assert kept.keys() == line.sent.keys()
    known = 0
    for value, (_, stamp_ns, true_ns) in line.sent.items():
        assert originals[value] in (stamp_ns, None)
        known += originals[value] is not None
        assert -BEHIND_NS <= kept[value][0] - true_ns <= FUTURE_NS + NS
    assert known >= 0.98 * len(kept)
