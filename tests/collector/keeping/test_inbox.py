"""From single samples to frames: nothing lost, gaps marked, clocks watched."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Literal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.gaps.marks import Gap
from collector.keeping.inbox import Inbox
from collector.reading.mapping import SourceMapping, TagMapping, tags_of
from historian import NS, Event, Frame, Sample
from historian.quality import GOOD, NO_DATA, UNCERTAIN
from tests.collector.conftest import rows

T = 1_800_000_000 * NS
A, B = 1, 2


def source(name: str = "plc", clock: Literal["wall", "own"] = "wall", tags: int = 2) -> SourceMapping:
    mapped = tuple(TagMapping(f"{name}.t{n}.pv", f"i={n}", "1") for n in range(1, tags + 1))
    return SourceMapping(name, "opc.tcp://x", False, mapped, clock)


def inbox_of(*sources: SourceMapping, latest: dict[str, Sample] | None = None, limit: int = 10_000) -> Inbox:
    tags = {t.path: t for t in tags_of(sources)}
    known = {p: type(t)(**{**_fields(t), "id": n}) for n, (p, t) in enumerate(tags.items(), 1)}
    return Inbox(sources, known, latest, limit=limit)


def _fields(tag: object) -> dict[str, object]:
    return {name: getattr(tag, name) for name in tag.__slots__}  # type: ignore[attr-defined]


def kinds(events: list[Event]) -> list[str]:
    return [e.kind for e in events]


def test_one_frame_a_source() -> None:
    inbox = inbox_of(source("plc"), source("weigher"))
    inbox.put("plc", 1, T, 1.0, GOOD)
    inbox.put("weigher", 3, T, 3.0, GOOD)
    inbox.put("plc", 2, T, 2.0, GOOD)
    inbox.put("plc", 1, T + NS, 1.5, GOOD)
    frames = inbox.cut(T + NS)
    assert [f.tag.tolist() for f in frames] == [[1, 1, 2], [3]]
    assert [f.arrival_ns for f in frames] == [T + NS, T + NS]
    assert inbox.cut(T + 2 * NS) == []


def test_arrival_never_falls_and_a_step_back_is_said() -> None:
    inbox = inbox_of(source())
    assert inbox.cut(T) == []
    inbox.put("plc", A, T - 100 * NS, 1.0, GOOD)
    (frame,) = inbox.cut(T - 100 * NS)
    assert frame.arrival_ns == T == inbox.arrival_ns
    (event,) = inbox.events()
    assert (event.kind, event.source) == ("clock-stepped", "edge")
    assert event.data["step_s"] == -100


def test_exact_repeats_are_left_out() -> None:
    inbox = inbox_of(source())
    inbox.put("plc", A, T, 1.0, GOOD)
    inbox.put("plc", A, T, 1.0, GOOD)
    inbox.put("plc", B, T, math.nan, NO_DATA)
    inbox.put("plc", B, T, math.nan, NO_DATA)
    (frame,) = inbox.cut(T)
    assert frame.tag.tolist() == [A, B]


def test_a_lost_source_leaves_a_mark_in_every_tag() -> None:
    inbox = inbox_of(source())
    inbox.put("plc", A, T, 1.0, GOOD)
    inbox.put("plc", B, T + NS, 2.0, GOOD)
    inbox.lost("plc")
    inbox.lost("plc")
    (frame,) = inbox.cut(T + 2 * NS)
    mark = T + NS + 1_000_000
    assert [(t, n, q) for t, n, _, q in rows(frame)] == [
        (A, T, GOOD),
        (A, mark, NO_DATA),
        (B, T + NS, GOOD),
        (B, mark, NO_DATA),
    ]
    assert inbox.cut(T + 3 * NS) == []
    inbox.lost("plc")
    assert inbox.cut(T + 4 * NS) == []


def test_after_the_return_an_old_value_counts_from_its_confirmation() -> None:
    inbox = inbox_of(source())
    inbox.put("plc", A, T, 1.0, GOOD)
    inbox.put("plc", B, T - 500 * NS, 2.0, GOOD)
    inbox.lost("plc")
    inbox.cut(T + NS)
    back = T + 60 * NS
    inbox.put("plc", A, back, 1.5, GOOD, back + 1)
    inbox.put("plc", B, T - 500 * NS, 2.0, GOOD, back + 1)
    (frame,) = inbox.cut(back + NS)
    assert rows(frame) == [(A, back, 1.5, GOOD), (B, back + 1, 2.0, GOOD)]
    assert inbox.events() == []


def test_what_the_store_holds_from_before_is_a_gap_up_to_now() -> None:
    latest = {"plc.t1.pv": Sample(T, 1.0, GOOD, T), "plc.t2.pv": Sample(T - NS, math.nan, NO_DATA, T)}
    inbox = inbox_of(source(), latest=latest)
    (frame,) = inbox.cut(T + 3600 * NS)
    assert [(t, n, q) for t, n, _, q in rows(frame)] == [(A, T + 1_000_000, NO_DATA)]
    # The tag that was marked before has its gap still open.
    inbox.put("plc", B, T - 50 * NS, 2.0, GOOD, T + 3600 * NS)
    (frame,) = inbox.cut(T + 3601 * NS)
    assert rows(frame) == [(B, T + 3600 * NS, 2.0, GOOD)]


def test_a_step_back_begins_one_epoch_for_all_tags() -> None:
    inbox = inbox_of(source())
    for k in range(3):
        inbox.put("plc", A, T + k * NS, 1.0 + k, GOOD)
        inbox.put("plc", B, T + k * NS, 2.0 + k, GOOD)
        inbox.cut(T + k * NS)
    inbox.put("plc", A, T - 300 * NS, 9.0, GOOD)
    inbox.put("plc", B, T + 3 * NS, 8.0, GOOD)  # sent before the step, taken after the other tag's
    inbox.put("plc", B, T - 300 * NS, 7.0, GOOD)
    old, new = inbox.cut(T + 4 * NS)
    assert (old.clock_epoch, rows(old)) == (0, [(B, T + 3 * NS, 8.0, GOOD)])
    assert (new.clock_epoch, rows(new)) == (1, [(A, T - 300 * NS, 9.0, GOOD), (B, T - 300 * NS, 7.0, GOOD)])
    (event,) = inbox.events()
    assert event.kind == "clock-stepped" and event.source == "plc"
    assert event.data["step_s"] == pytest.approx(-302)
    inbox.put("plc", B, T - 299 * NS, 7.5, GOOD)
    (frame,) = inbox.cut(T + 5 * NS)
    assert frame.clock_epoch == 1 and inbox.events() == []


def test_unrest_below_two_seconds_is_no_step() -> None:
    inbox = inbox_of(source())
    inbox.put("plc", A, T, 1.0, GOOD)
    inbox.put("plc", A, T - 2 * NS, 2.0, GOOD)
    (frame,) = inbox.cut(T)
    assert len(frame) == 2 and frame.clock_epoch == 0


@pytest.mark.parametrize("step_s", [3, 4])
def test_a_small_step_forward_begins_an_epoch(step_s: int) -> None:
    inbox = inbox_of(source())
    for k in range(20):
        ahead = step_s * NS if k >= 10 else 0
        inbox.put("plc", A, T + k * NS + ahead, float(k), GOOD)
        (frame,) = inbox.cut(T + k * NS)
        assert frame.clock_epoch == (1 if k >= 10 else 0)
    (event,) = inbox.events()
    assert event.data["step_s"] == pytest.approx(step_s)


def test_a_slow_network_is_no_step() -> None:
    inbox = inbox_of(source())
    for k in range(40):
        late = min(k, 20) * NS if k < 30 else 0
        inbox.put("plc", A, T + k * NS - late + k, float(k), GOOD)
        inbox.cut(T + k * NS)
    assert inbox.events() == []


def test_the_old_first_values_of_a_new_connection_are_no_step() -> None:
    inbox = inbox_of(source())
    inbox.put("plc", B, T - 5000 * NS, 2.0, GOOD, T)
    inbox.cut(T)
    for k in range(10):
        inbox.put("plc", A, T + k * NS, float(k), GOOD, T if k == 0 else 0)
        inbox.cut(T + k * NS)
    assert kinds(inbox.events()) == []


def test_samples_from_the_future_come_back_to_their_arrival() -> None:
    inbox = inbox_of(source())
    inbox.put("plc", A, T, 1.0, GOOD)
    inbox.put("plc", B, T + 3599 * NS, 2.0, GOOD)
    inbox.put("plc", B, T + 3600 * NS, 2.1, GOOD)
    (frame,) = inbox.cut(T)
    # Distances in time stay, so that no sample overwrites the other.
    assert rows(frame) == [(A, T, 1.0, GOOD), (B, T - NS, 2.0, UNCERTAIN), (B, T, 2.1, UNCERTAIN)]
    inbox.put("plc", B, T + 3601 * NS, 2.2, NO_DATA)
    (frame,) = inbox.cut(T + NS)
    assert rows(frame)[0][1::2] == (T + NS, NO_DATA)
    (event,) = inbox.events()
    assert event.kind == "sample-from-future"
    stray = {"tag": "plc.t2.pv", "stored_ns": T, "shift_ms": -3_600_000}
    assert event.data == {"tag": "plc.t2.pv", "offset_s": 3600.0, "strays": [stray], "left_out": 0}
    assert "plc" in event.text and "Remedy" in event.text


def test_a_clock_that_went_far_ahead_and_came_back_is_said() -> None:
    inbox = inbox_of(source())
    told: list[str] = []
    epochs = []
    for k in range(15):
        ahead = 3600 * NS if 5 <= k < 10 else 0
        inbox.put("plc", A, T + k * NS + ahead, float(k), GOOD)
        (frame,) = inbox.cut(T + k * NS)
        assert frame.time_ns.tolist() == [T + k * NS]
        epochs.append(frame.clock_epoch)
        told += kinds(inbox.events())
    assert told == ["clock-wrong", "clock-right"]
    assert epochs == [0] * 5 + [1] * 5 + [2] * 5


def test_one_wild_time_stamp_beside_others_is_no_step() -> None:
    inbox = inbox_of(source())
    for k in range(10):
        ahead = 86_400 * NS if k == 5 else 0
        inbox.put("plc", A, T + k * NS, float(k), GOOD)
        inbox.put("plc", B, T + k * NS + ahead, float(k), GOOD)
        (frame,) = inbox.cut(T + k * NS)
        assert frame.clock_epoch == 0
        assert frame.time_ns.tolist() == [T + k * NS] * 2
    assert kinds(inbox.events()) == ["sample-from-future"]


def test_one_wild_time_stamp_alone_is_an_epoch_for_itself() -> None:
    inbox = inbox_of(source())
    epochs = []
    for k in range(10):
        ahead = 86_400 * NS if k == 5 else 0
        inbox.put("plc", A, T + k * NS + ahead, float(k), GOOD)
        (frame,) = inbox.cut(T + k * NS)
        epochs.append(frame.clock_epoch)
    assert epochs == [0] * 5 + [1] + [2] * 4
    assert kinds(inbox.events()) == ["clock-wrong", "clock-right"]


def test_a_source_with_a_clock_of_its_own_may_be_anywhere() -> None:
    inbox = inbox_of(source(clock="own"))
    for k in range(10):
        inbox.put("plc", A, k * 60 * NS + 10**18 * 3, float(k), GOOD, 1 if k == 0 else 0)
        (frame,) = inbox.cut(T + k * NS)
        assert int(frame.quality[0]) == GOOD
    assert inbox.events() == []
    inbox.put("plc", A, NS, 0.0, GOOD)
    (frame,) = inbox.cut(T + 11 * NS)
    assert frame.clock_epoch == 1
    assert kinds(inbox.events()) == ["clock-stepped"]


def test_a_flat_line_is_confirmed_while_its_source_lives() -> None:
    inbox = inbox_of(source())
    inbox.put("plc", B, T, 200.0, GOOD, T)
    seen = []
    for k in range(1, 150):
        inbox.put("plc", A, T + k * NS, float(k), GOOD)
        for frame in inbox.cut(T + k * NS):
            seen += [(n, v) for t, n, v, _ in rows(frame) if t == B]
    assert len(seen) == 3
    assert [v for _, v in seen] == [200.0] * 3
    assert all(55 * NS <= b[0] - a[0] <= 63 * NS for a, b in pairwise(seen))
    inbox.lost("plc")
    later = [inbox.cut(T + k * NS) for k in range(150, 400)]
    assert sum(len(f) for frames in later for f in frames) == 2  # the two marks


def test_too_much_is_dropped_loudly_and_leaves_a_mark() -> None:
    inbox = inbox_of(source(), limit=100)
    for k in range(150):
        inbox.put("plc", A, T + k, float(k), GOOD)
    (frame,) = inbox.cut(T)
    (event,) = inbox.events()
    assert event.kind == "samples-dropped"
    assert (event.data["samples"], event.data["first_ns"], event.data["last_ns"]) == (50, T, T + 49)
    assert rows(frame)[0][1] == T and rows(frame)[0][3] == NO_DATA
    assert frame.value[1:].tolist() == [float(k) for k in range(50, 150)]


@given(
    st.lists(
        st.tuples(st.sampled_from([A, B]), st.integers(0, 4 * 10**9), st.floats(-10, 10), st.booleans()),
        max_size=60,
    )
)
def test_every_sample_is_kept_once(samples: list[tuple[int, int, float, bool]]) -> None:
    """Whatever the order within the unrest of a clock, and wherever the cuts fall."""
    inbox = inbox_of(source())
    frames: list[Frame] = []
    now = T + 5 * NS
    sent: list[tuple[int, int, float]] = []
    last: dict[int, tuple[int, float]] = {}
    for tag, offset, value, cuts in samples:
        time_ns = T + offset // 2  # never more than two seconds back
        inbox.put("plc", tag, time_ns, value, GOOD)
        newest = last.get(tag)
        if newest != (time_ns, value):
            sent.append((tag, time_ns, value))
        if newest is None or time_ns >= newest[0]:
            last[tag] = (time_ns, value)
        if cuts:
            now += NS // 2
            frames += inbox.cut(now)
    frames += inbox.cut(now)
    kept = sorted((t, n, v) for f in frames for t, n, v, _ in rows(f))
    assert kept == sorted(sent)
    assert all(f.clock_epoch == 0 for f in frames)


def test_a_gap_that_has_ended_is_told_once_with_what_lies_on_both_sides() -> None:
    inbox = inbox_of(source())
    inbox.put("plc", A, T, 1.0, GOOD)
    inbox.put("plc", B, T + NS, 2.0, GOOD)
    inbox.lost("plc")
    inbox.cut(T + 2 * NS)
    assert inbox.ended_gaps("plc") == []
    inbox.put("plc", A, T + 9 * NS, 3.0, GOOD, T + 9 * NS)
    inbox.put("plc", B, T + NS, 2.0, GOOD, T + 9 * NS)
    inbox.cut(T + 9 * NS)
    mark = T + NS + 1_000_000
    assert inbox.ended_gaps("plc") == [
        Gap(A, T, 1.0, GOOD, mark, T + 9 * NS),
        Gap(B, T + NS, 2.0, GOOD, mark, T + 9 * NS),
    ]
    assert inbox.ended_gaps("plc") == []


def test_a_gap_that_an_earlier_run_marked_begins_where_nobody_knows() -> None:
    inbox = inbox_of(source(), latest={"plc.t1.pv": Sample(T, math.nan, NO_DATA, T)})
    inbox.put("plc", A, T + 9 * NS, 3.0, GOOD, T + 9 * NS)
    inbox.cut(T + 9 * NS)
    (gap,) = inbox.ended_gaps("plc")
    assert (gap.mark_ns, gap.until_ns, gap.quality) == (T, T + 9 * NS, NO_DATA)
    assert gap.since_ns < T
