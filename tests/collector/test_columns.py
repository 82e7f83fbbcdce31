"""Columns are kept as single samples would be, whatever order, repeats, gaps and steps they bring."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from collector.columns import Columns
from collector.keeping.inbox import Inbox
from historian import NS, Frame
from historian.quality import GOOD, HELD, NO_DATA, SENSOR_FAILURE
from tests.collector.conftest import rows
from tests.collector.keeping.test_inbox import T, inbox_of, source

Sent = tuple[int, int, float, int]


def put(inbox: Inbox, sent: list[Sent], *, resent: bool = False) -> None:
    if not sent:
        return
    columns = Columns.of(*zip(*sent, strict=True))
    inbox.put_columns("plc", columns.tag, columns.time_ns, columns.value, columns.quality, resent=resent)


def told(frames: list[Frame]) -> list[tuple[int, int, list[tuple[int, int, float, int]]]]:
    """A frame as it can be compared: NaN as text."""
    return [
        (f.clock_epoch, f.arrival_ns, [(t, n, str(v), q) for t, n, v, q in rows(f)])  # type: ignore[misc]
        for f in frames
    ]


SAMPLES = st.lists(
    st.tuples(
        st.sampled_from([1, 2]),
        st.sampled_from([-9000, -2500, -1500, -1, 0, 0, 1, 250, 250, 500, 4000, 9000]),
        st.sampled_from([(1.0, GOOD), (1.0, GOOD), (2.0, GOOD), (float("nan"), SENSOR_FAILURE)]),
    ),
    max_size=12,
)


@given(st.lists(st.tuples(SAMPLES, st.sampled_from(["", "", "", "alive", "lost"])), max_size=8))
def test_columns_are_kept_as_single_samples_are(
    batches: list[tuple[list[tuple[int, int, tuple[float, int]]], str]],
) -> None:
    singly, at_once = inbox_of(source()), inbox_of(source())
    now_ns = T
    for batch, what in batches:
        now_ns += NS // 2
        sent = [(tag, now_ns + ms * 1_000_000, *said) for tag, ms, said in batch]
        for one in sent:
            singly.put("plc", *one)
        put(at_once, sent)
        for inbox in (singly, at_once):
            if what == "alive":
                inbox.alive("plc", now_ns)
            elif what == "lost":
                inbox.lost("plc")
        assert told(singly.cut(now_ns)) == told(at_once.cut(now_ns))
        assert singly.events() == at_once.events()
    for _ in range(4):  # what is confirmed later
        now_ns += 61 * NS
        for inbox in (singly, at_once):
            inbox.alive("plc", now_ns)
        assert told(singly.cut(now_ns)) == told(at_once.cut(now_ns))


def test_what_is_sent_again_after_a_return_is_no_step_of_the_clock() -> None:
    inbox = inbox_of(source())
    put(inbox, [(1, T + k * NS, float(k), GOOD) for k in range(30)])
    inbox.cut(T + 30 * NS)
    put(inbox, [(1, T + k * NS, float(k), GOOD) for k in range(10, 40)], resent=True)
    (frame,) = inbox.cut(T + 41 * NS)
    assert frame.clock_epoch == 0 and inbox.events() == []
    assert frame.time_ns.tolist() == [T + k * NS for k in range(10, 40)]
    # And the tag goes on from its newest one.
    put(inbox, [(1, T + 39 * NS, 39.0, GOOD), (1, T + 40 * NS, 40.0, GOOD)])
    (frame,) = inbox.cut(T + 42 * NS)
    assert frame.value.tolist() == [40.0]


def test_a_gap_in_which_nothing_was_lost_is_taken_back() -> None:
    inbox = inbox_of(source())
    put(inbox, [(1, T, 5.0, GOOD), (2, T, 7.0, SENSOR_FAILURE)])
    inbox.lost("plc")
    (frame,) = inbox.cut(T + NS)
    mark = T + 1_000_000
    assert (1, mark, NO_DATA) in [(t, n, q) for t, n, _, q in rows(frame)]
    inbox.healed("plc")
    put(inbox, [(1, T + NS, 6.0, GOOD)])
    (frame,) = inbox.cut(T + 2 * NS)
    assert rows(frame)[:2] == [(1, mark, 5.0, HELD), (1, T + NS, 6.0, GOOD)]
    assert len(frame) == 2 or np.isnan(frame.value[2])


def test_what_is_dropped_is_counted_by_samples() -> None:
    inbox = inbox_of(source(), limit=25)
    for k in range(4):
        put(inbox, [(1, T + (10 * k + n) * NS // 100, 1.0, GOOD) for n in range(10)])
    frames = inbox.cut(T + NS)
    (event,) = inbox.events()
    assert event.kind == "samples-dropped" and event.data["samples"] == 20
    assert sum(int((f.quality == GOOD).sum()) for f in frames) == 20


@given(
    st.lists(st.integers(1, 9), min_size=1, max_size=6),
    st.integers(1, 4),
    st.lists(st.integers(1, 9), max_size=3),
)
def test_by_tag_keeps_the_order_within_a_tag(scan: list[int], scans: int, rest: list[int]) -> None:
    """Scans of the same tags are the usual case, and have a way of their own."""
    for tags in (scan, sorted(set(scan))):
        tag = [*(tags * scans), *rest]
        columns = Columns.of(tag, range(len(tag)), np.arange(len(tag)) / 2, [GOOD] * len(tag))
        order = sorted(range(len(tag)), key=lambda n: (tag[n], n))
        assert list(columns.by_tag().rows()) == [(tag[n], n, n / 2, GOOD, 0) for n in order]
