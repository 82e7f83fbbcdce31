"""Gaps filled from a history: every sample once, every remaining hole marked, nothing bridged."""

from __future__ import annotations

import bisect
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from hypothesis import given, settings
from hypothesis import strategies as st

from collector.gaps.backfill import Filling, First, Found
from collector.gaps.marks import MARK_AFTER_NS, Gap
from historian.frame import Frame, Series
from historian.quality import GOOD, HELD, NO_DATA

MS = 1_000_000
GAP = Gap(tag=1, since_ns=1000 * MS, value=5.0, quality=GOOD, mark_ns=1001 * MS, until_ns=2000 * MS)


def series(*times_ms: float, quality: int = GOOD) -> Series:
    return Series.of([int(t * MS) for t in times_ms], list(times_ms), [quality] * len(times_ms))


def told(kept: Series) -> list[tuple[float, float | None, int]]:
    """Time in milliseconds, value (None for NaN), quality."""
    return [
        (int(t) / MS, None if math.isnan(v) else float(v), int(q))
        for t, v, q in zip(kept.time_ns, kept.value, kept.quality, strict=True)
    ]


def test_pieces_end_where_the_source_was_started_again() -> None:
    filling = Filling([GAP], {1: First(2000 * MS, 0.0, GOOD)}, 2000 * MS, restarted_ns=1500 * MS)
    pieces = []
    while (piece := filling.piece(400 * MS)) is not None:
        pieces.append((piece[0] // MS, piece[1] // MS))
        filling.take(piece[1], {1: Found(series(), records=True)})
    assert pieces == [(1000, 1400), (1400, 1500), (1500, 1900), (1900, 2000)]


def filled(
    first: First, found: Series, *, records: bool, other: bool = False
) -> list[tuple[float, float | None, int]]:
    gaps, firsts, answers = [GAP], {1: first}, {1: Found(found, records)}
    if other:
        gaps.append(replace(GAP, tag=2))
        firsts[2] = First(2000 * MS, 1.0, GOOD)
        answers[2] = Found(series(1500, 2000), records)
    filling = Filling(gaps, firsts, 2000 * MS)
    frame = filling.take(2000 * MS, answers)
    if frame is None:
        return []
    mine = frame.tag == 1
    return told(Series(frame.time_ns[mine], frame.value[mine], frame.quality[mine]))


def test_no_answer_is_no_proof_unless_the_source_records() -> None:
    unchanged = First(990 * MS, 5.0, GOOD)
    assert filled(unchanged, series(), records=True) == [(1001, 5.0, HELD)]
    assert filled(unchanged, series(), records=False) == []


def test_a_history_that_ends_before_the_source_came_back_leaves_a_mark() -> None:
    late = First(2000 * MS, 9.0, GOOD)
    assert filled(late, series(1200), records=True)[-1] == (1201, None, NO_DATA)
    assert filled(late, series(1200, 2000), records=True)[-1] == (1200, 1200.0, GOOD)


def test_a_source_that_records_changes_only_is_believed_when_its_other_tags_go_on() -> None:
    same = First(2000 * MS, 5.0, GOOD)
    assert filled(same, series(), records=True) == []
    assert filled(same, series(), records=True, other=True) == [(1001, 5.0, HELD)]
    assert filled(replace(same, value=6.0), series(), records=True, other=True) == []


def test_the_first_value_is_kept_at_its_own_time_too() -> None:
    """It came back with the time of its last change, in the gap; it was kept as of when it was confirmed."""
    first = First(1500 * MS, 1500.0, GOOD)
    assert filled(first, series(1200, 1500), records=True)[-1] == (1500, 1500.0, GOOD)
    # Without it in the history there may be more that is missing before it.
    kept = filled(first, series(1200), records=True)
    assert kept[-2:] == [(1201, None, NO_DATA), (1500, 1500.0, GOOD)]


@dataclass(frozen=True)
class Story:
    """A tag's life round a gap.

    Attributes:
        record: times of the machine's samples; its value is their number.
        cut, back: how many had been sent when the source was lost, and when it came back.
        down: the first and last that were recorded by nobody, because the server was down; None without.
        end: how many the archive holds; the rest is not written yet.
        piece_ns: longest piece.
        failing: numbers of pieces that the server does not answer.
    """

    record: tuple[int, ...]
    cut: int
    back: int
    down: tuple[int, int] | None
    end: int
    piece_ns: int
    failing: frozenset[int]


@st.composite
def stories(draw: st.DrawFn) -> Story:
    steps = draw(st.lists(st.integers(1, 40).map(lambda n: n * 300_000), min_size=4, max_size=30))
    times, at = [], 10**9
    for step in steps:
        at += step
        times.append(at)
    cut = draw(st.integers(1, len(times) - 2))
    back = draw(st.integers(cut + 1, len(times) - 1))
    first = draw(st.integers(cut, back))
    last = draw(st.integers(first, back))
    down = (first, last) if last < back and draw(st.booleans()) else None
    end = len(times) if draw(st.booleans()) else draw(st.integers(cut, len(times)))
    piece_ns = draw(st.integers(1, 40)) * 1_000_000
    failing = draw(st.frozensets(st.integers(0, 12), max_size=3))
    return Story(tuple(times), cut, back, down, end, piece_ns, failing)


@settings(max_examples=400)
@given(stories(), st.booleans())
def test_every_sample_once_every_hole_marked_nothing_bridged(story: Story, exclusive: bool) -> None:
    times = story.record
    lost = set(range(story.down[0], story.down[1] + 1)) if story.down else set()
    archive = [n for n in range(story.end) if n not in lost]
    store: dict[int, tuple[float, int]] = {times[n]: (float(n), GOOD) for n in range(story.cut)}
    store |= {times[n]: (float(n), GOOD) for n in range(story.back, len(times)) if n not in lost}
    newest = times[story.cut - 1]
    mark = newest + MARK_AFTER_NS
    restarted = times[story.down[1]] + 1 if story.down else None
    # Nothing is started again within the millisecond before the mark.
    if mark >= times[story.back] or (restarted is not None and restarted <= mark):
        return
    store[mark] = (math.nan, NO_DATA)
    gap = Gap(1, newest, float(story.cut - 1), GOOD, mark, times[story.back])
    filling = Filling(
        [gap], {1: First(times[story.back], float(story.back), GOOD)}, times[story.back], restarted
    )
    unanswered: list[tuple[int, int]] = []
    number = 0
    while (piece := filling.piece(story.piece_ns)) is not None:
        answers = {}
        if number in story.failing:
            unanswered.append(piece)
        else:
            answers = {1: Found(asked(times, archive, piece, exclusive=exclusive), records=True)}
        put(store, filling.take(piece[1], answers))
        number += 1

    kept = sorted(store)
    answered = [n for n in archive if n >= story.back or n < story.cut or not missed(times[n], unanswered)]
    for n in answered:
        assert store.get(times[n]) == (float(n), GOOD)
    values = [v for v, q in store.values() if q == GOOD]
    assert len(values) == len(set(values))
    for time, (value, quality) in store.items():
        if quality == HELD:
            assert value == bisect.bisect_right(times, time) - 1
    for n in range(story.cut, story.back):
        if times[n] not in store:
            before = kept[bisect.bisect_right(kept, times[n]) - 1]
            assert store[before][1] == NO_DATA or times[n] - before < MARK_AFTER_NS
    if not lost and not unanswered and story.end > story.back:
        assert NO_DATA not in [q for _, q in store.values()]
        assert filling.proven == 1


def asked(times: Sequence[int], archive: Sequence[int], piece: tuple[int, int], *, exclusive: bool) -> Series:
    start, end = piece[0] - MARK_AFTER_NS, piece[1] + MARK_AFTER_NS
    found = [n for n in archive if start <= times[n] and (times[n] < end if exclusive else times[n] <= end)]
    return Series.of([times[n] for n in found], [float(n) for n in found], [GOOD] * len(found))


def missed(time: int, pieces: Sequence[tuple[int, int]]) -> bool:
    return any(start - MARK_AFTER_NS <= time <= end + MARK_AFTER_NS for start, end in pieces)


def put(store: dict[int, tuple[float, int]], frame: Frame | None) -> None:
    if frame is not None:
        assert len(set(frame.time_ns.tolist())) == len(frame)
        for time, value, quality in zip(frame.time_ns, frame.value, frame.quality, strict=True):
            store[int(time)] = (float(value), int(quality))
