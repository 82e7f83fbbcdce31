"""How late a source's samples are and how long it was away, from its batches."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from collector.keeping.flow import NOTICED_NS, WINDOW_NS, Flow, FlowNow
from historian import NS


def test_the_lags_are_of_the_last_minute() -> None:
    flow = Flow()
    flow.batch(9 * NS, 0)
    for second in range(30, 90):
        flow.batch((second % 7) * NS, second * NS)
    assert flow.now(90 * NS) == FlowNow(0, 0, (89 % 7) * NS, 6 * NS, 0)
    assert flow.now(89 * NS + WINDOW_NS + 1) == FlowNow()


def test_a_gap_begins_with_the_last_batch_and_ends_when_the_source_is_back() -> None:
    flow = Flow()
    flow.stands(False, 1 * NS)
    assert flow.now(2 * NS).gaps == 0
    flow.stands(True, 3 * NS)
    flow.batch(0, 10 * NS)
    flow.stands(False, 14 * NS)
    assert (flow.now(15 * NS).gaps, flow.now(15 * NS).gap_ns) == (1, 5 * NS)
    flow.stands(False, 20 * NS)
    flow.stands(True, 30 * NS)
    assert (flow.now(99 * NS).gaps, flow.now(99 * NS).gap_ns) == (1, 20 * NS)


def test_a_source_that_had_said_nothing_for_long_was_not_away_all_the_time() -> None:
    flow = Flow()
    flow.batch(0, NS)
    flow.stands(True, 3600 * NS)
    flow.stands(False, 3601 * NS)
    assert flow.now(3601 * NS).gap_ns == NOTICED_NS


@given(st.lists(st.booleans(), max_size=60))
def test_gaps_are_the_runs_without_a_connection_after_the_first_one(states: list[bool]) -> None:
    flow = Flow()
    for second, connected in enumerate(states):
        if connected:
            flow.batch(0, second * NS)
        flow.stands(connected, second * NS)
    first = states.index(True) if True in states else len(states)
    after = states[first:]
    seconds = list(pairwise(after))
    now = flow.now((len(states) - 1) * NS)
    assert now.gaps == sum(was and not is_there for was, is_there in seconds)
    longest = max(len(run) for run in "".join("x" if s else " " for s in after).split("x"))
    if longest * NS < NOTICED_NS:
        assert now.gap_ns == sum(not (was and is_there) for was, is_there in seconds) * NS
