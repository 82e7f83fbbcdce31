"""Long windows are answered from rollups as from the samples themselves, bad ones, late ones and gaps included."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest

from historian.archive.manifest import DAY_NS
from historian.embedded.store import EmbeddedStore
from historian.embedded.upkeep import GRACE_NS
from historian.envelope import Envelope
from historian.frame import NS, Frame, Series
from historian.quality import GOOD, LAST_USABLE, NO_DATA, SENSOR_FAILURE, is_bad, is_uncertain
from historian.retention import Keep
from historian.rollups.columns import COLUMNS, HOUR_NS, MINUTE_NS, Rollup, rollup_of
from historian.rollups.writer import RollupWriter
from tests.historian.kept_line import PATHS, T0, Line

DAYS = 4
END = T0 + DAYS * DAY_NS
EXACT = [name for name in COLUMNS if name != "total"]


@pytest.fixture
def line(tmp_path: Path) -> Iterator[Line]:
    """Days of two tags at odd times, with bad and uncertain samples among them."""
    made = Line(tmp_path)
    for day in range(DAYS):
        made.append(scattered(day, T0 + day * DAY_NS, DAY_NS, 900))
    yield made
    made.store.close()


def scattered(seed: int, start_ns: int, span_ns: int, n: int, *, arrival_ns: int | None = None) -> Frame:
    chance = np.random.default_rng(seed)
    quality = chance.choice([GOOD, LAST_USABLE, SENSOR_FAILURE, NO_DATA], n, p=[0.9, 0.05, 0.03, 0.02])
    value = np.where(quality == NO_DATA, np.nan, np.round(chance.normal(70, 9, n), 2))
    return Frame.of(
        chance.integers(1, 3, n),
        start_ns + np.sort(chance.choice(span_ns // NS, n, replace=False)) * NS,
        value,
        quality,
        arrival_ns=start_ns + span_ns if arrival_ns is None else arrival_ns,
    )


def plain(line: Line, start_ns: int, end_ns: int, interval_ns: int) -> Rollup:
    """The same from what was sent, without any store; of one tag and time the last counts."""
    rows = [(n, t, v, q) for n, path in enumerate(PATHS, 1) for t, v, q in line.expected()[path]]
    inside = [r for r in rows if start_ns <= r[1] < end_ns]
    tag, time_ns, value, quality = (list(c) for c in zip(*inside, strict=True))
    return rollup_of(
        np.array(tag, np.int32),
        np.array(time_ns, np.int64),
        np.array(value, np.float64),
        np.array(quality, np.uint32),
        interval_ns,
    )


def same(found: Rollup, expected: Rollup) -> None:
    for name in EXACT:
        np.testing.assert_array_equal(getattr(found, name), getattr(expected, name), err_msg=name)
    np.testing.assert_allclose(found.total, expected.total, rtol=1e-12)


def rollup(line: Line, interval_ns: int, start_ns: int = T0, end_ns: int = END) -> Rollup:
    with closing(EmbeddedStore.open(line.folder, mode="read")) as store:
        return store.rollup(PATHS, start_ns, end_ns, interval_ns)


def envelope(line: Line, columns: int, start_ns: int = T0, end_ns: int = END) -> Envelope:
    with closing(EmbeddedStore.open(line.folder, mode="read")) as store:
        return store.envelope(PATHS[0], start_ns, end_ns, columns)


WIDTHS = [7 * NS, MINUTE_NS, 7 * MINUTE_NS, HOUR_NS, 90 * MINUTE_NS, DAY_NS]


WINDOWS = [(T0, END), (T0 + 61 * NS, END - 5 * HOUR_NS - NS)]


def test_sealed_rolled_and_unsealed_together_are_as_from_the_samples(line: Line) -> None:
    line.step(T0 + 2 * DAY_NS + GRACE_NS)
    line.append(scattered(9, T0, DAYS * DAY_NS, 300, arrival_ns=END + HOUR_NS))
    line.append(scattered(10, T0 + 3 * DAY_NS, DAY_NS, 300, arrival_ns=END + HOUR_NS))
    for now_ns in (None, END + 2 * HOUR_NS):
        if now_ns is not None:
            line.step(now_ns)
        for interval_ns in WIDTHS:
            for window in WINDOWS:
                same(rollup(line, interval_ns, *window), plain(line, *window, interval_ns))


def test_rollups_that_are_behind_are_passed_over(line: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    line.step(END + GRACE_NS)
    line.append(scattered(9, T0 + DAY_NS, DAY_NS, 500, arrival_ns=END + HOUR_NS))
    with monkeypatch.context() as patch:
        patch.setattr(RollupWriter, "bring_up", lambda *_: 0)
        line.step(END + 2 * HOUR_NS)
    assert line.recent_rows() == 0
    for interval_ns in WIDTHS:
        same(rollup(line, interval_ns), plain(line, T0, END, interval_ns))


def test_rollups_answer_for_samples_whose_time_is_up(line: Line) -> None:
    line.step(END + GRACE_NS, keep=Keep.read(raw="1d"))
    assert (gone := line.store.span()) is not None and gone[0] >= T0 + 2 * DAY_NS
    for interval_ns in WIDTHS[1:]:
        same(rollup(line, interval_ns), plain(line, T0, END, interval_ns))


def test_a_late_sample_hides_nothing_of_what_only_rollups_know(line: Line) -> None:
    """It comes in one frame with a live one, so that the frame spans days that are gone."""
    line.step(END + GRACE_NS, keep=Keep.read(raw="1d"))
    rows = line.expected()[PATHS[0]]
    first, bad = rows[0][0], next(t for t, _, quality in rows if quality == SENSOR_FAILURE)
    now = END + HOUR_NS
    times = [first + NS // 2, bad + NS // 2, now]
    late = Frame.of([1, 1, 1], times, [999.0, 50.0, 1.0], [0, 0, 0], arrival_ns=now)
    line.append(late)
    for now_ns in (None, END + 2 * HOUR_NS + GRACE_NS):
        if now_ns is not None:
            line.step(now_ns, keep=Keep.read(raw="1d"))
            assert line.recent_rows() == 0
        for interval_ns in (MINUTE_NS, HOUR_NS, DAY_NS):
            expected = plain(line, T0, END + DAY_NS, interval_ns)
            assert expected.maximum[0] == 999.0
            same(rollup(line, interval_ns, T0, END + DAY_NS), expected)


def columns_of(series: Series, columns: int, start_ns: int, end_ns: int) -> dict[int, tuple[float, ...]]:
    """First, smallest, largest and last usable value of each pixel column."""
    usable = ~(is_bad(series.quality) | np.isnan(series.value))
    time_ns, value = series.time_ns[usable], series.value[usable]
    at = (time_ns - start_ns) * columns // (end_ns - start_ns)
    return {int(c): (v[0], v.min(), v.max(), v[-1]) for c in np.unique(at) if len(v := value[at == c])}


def outline(found: Envelope, columns: int, start_ns: int, end_ns: int) -> dict[int, tuple[float, ...]]:
    return columns_of(Series(found.time_ns, found.value, found.quality), columns, start_ns, end_ns)


def sent(line: Line, start_ns: int, end_ns: int) -> Series:
    rows = [r for r in line.expected()[PATHS[0]] if start_ns <= r[0] < end_ns]
    return Series(
        np.array([r[0] for r in rows], np.int64),
        np.array([r[1] for r in rows]),
        np.array([r[2] for r in rows], np.uint32),
    )


@pytest.fixture
def rolled_early(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pictures come from rollups however few samples there are."""
    monkeypatch.setattr("historian.embedded.long_view._FEW", -1)


@pytest.mark.usefixtures("rolled_early")
@pytest.mark.parametrize("columns", [1, 4, 32, 96])
@pytest.mark.parametrize("raw", [None, "1d"])
def test_a_picture_from_rollups_shows_what_the_samples_do(line: Line, columns: int, raw: str | None) -> None:
    """A column is whole hours wide here, so that it is exact to the value."""
    line.step(END + GRACE_NS, keep=Keep.read(raw=raw))
    # Not at the very time of a sample that has gone: nobody can tell any more that it was replaced.
    line.append(scattered(9, T0 + NS // 2, DAYS * DAY_NS - NS, 200, arrival_ns=END + HOUR_NS))
    found, whole = envelope(line, columns), sent(line, T0, END)
    assert outline(found, columns, T0, END) == columns_of(whole, columns, T0, END)
    assert found.samples == len(whole)
    bad = set(whole.time_ns[is_bad(whole.quality)].tolist())
    breaks = set(found.time_ns[np.isnan(found.value)].tolist())
    assert breaks <= bad and len(breaks) > 0
    hours = {(t - T0) // HOUR_NS for t in bad}
    assert columns > 4 or {(t - T0) // HOUR_NS for t in breaks} <= hours


@pytest.mark.usefixtures("rolled_early")
@pytest.mark.parametrize("raw", [None, "1d"])
def test_one_bad_sample_in_a_long_window_breaks_the_line_and_is_counted(
    tmp_path: Path, raw: str | None
) -> None:
    line = Line(tmp_path)
    days = 12
    time_ns = T0 + np.arange(0, days * 86_400, 600, dtype=np.int64) * NS
    n, at = len(time_ns), 834
    quality = np.zeros(n, np.uint32)
    quality[at] = SENSOR_FAILURE
    quality[2 * at] = LAST_USABLE
    line.append(Frame.of([1] * n, time_ns, np.sin(np.arange(n)), quality, arrival_ns=int(time_ns[-1])))
    line.step(T0 + 13 * DAY_NS, keep=Keep.read(raw=raw))
    found = envelope(line, 100, T0, T0 + days * DAY_NS)
    assert found.samples == n
    assert found.time_ns[np.isnan(found.value)].tolist() == [time_ns[at]]
    assert found.quality[np.isnan(found.value)].tolist() == [SENSOR_FAILURE]
    hourly = envelope(line, days * 24, T0, T0 + days * DAY_NS)
    near = np.abs(hourly.time_ns - time_ns[2 * at]) < HOUR_NS
    assert is_uncertain(hourly.quality[near]).any(), "never told better than it was"
    for interval_ns in (MINUTE_NS, HOUR_NS, DAY_NS):
        rows = rollup(line, interval_ns, T0, T0 + days * DAY_NS)
        (bad,), (doubtful,) = np.flatnonzero(rows.bad), np.flatnonzero(rows.uncertain)
        assert rows.start_ns[bad] == time_ns[at] // interval_ns * interval_ns
        assert rows.worst[bad] == SENSOR_FAILURE and rows.bad_first_ns[bad] == time_ns[at]
        assert rows.start_ns[doubtful] == time_ns[2 * at] // interval_ns * interval_ns
        assert rows.samples.sum() == n
    line.store.close()


@pytest.mark.usefixtures("rolled_early")
def test_a_narrow_window_of_samples_that_are_gone_is_drawn_from_minutes(line: Line) -> None:
    line.step(END + GRACE_NS, keep=Keep.read(raw="1d"))
    start_ns, end_ns = T0 + 5 * HOUR_NS, T0 + 11 * HOUR_NS
    found, whole = envelope(line, 2000, start_ns, end_ns), sent(line, start_ns, end_ns)
    usable = ~is_bad(whole.quality)
    minutes = {t // MINUTE_NS for t in whole.time_ns[usable].tolist()}
    assert {t // MINUTE_NS for t in found.time_ns[~np.isnan(found.value)].tolist()} == minutes
    assert found.value[~np.isnan(found.value)].max() == whole.value[usable].max()


@pytest.mark.usefixtures("rolled_early")
@pytest.mark.parametrize("columns", [4, 2000])
def test_where_minutes_are_gone_too_the_hours_draw_it(line: Line, columns: int) -> None:
    line.step(END + GRACE_NS, keep=Keep.read(raw="1d", minute="2d"))
    whole = sent(line, T0, T0 + DAY_NS)
    usable = whole.value[~is_bad(whole.quality)]
    found = envelope(line, columns, T0, T0 + DAY_NS)
    shown = found.value[~np.isnan(found.value)]
    assert (shown.min(), shown.max()) == (usable.min(), usable.max())
    assert set(shown.tolist()) <= set(usable.tolist()), "only what was measured"


@pytest.mark.usefixtures("rolled_early")
def test_a_late_sample_beside_what_only_rollups_know_is_drawn_with_it(line: Line) -> None:
    line.step(END + GRACE_NS, keep=Keep.read(raw="1d"))
    first = line.expected()[PATHS[0]][0][0]
    line.append(Frame.of([1], [first + 500_000_000], [999.0], [0], arrival_ns=END + HOUR_NS))
    for columns in (4, 2000):
        found, whole = envelope(line, columns, T0, T0 + DAY_NS), sent(line, T0, T0 + DAY_NS)
        usable = whole.value[~is_bad(whole.quality)]
        assert (np.nanmin(found.value), np.nanmax(found.value)) == (usable.min(), 999.0)
        assert found.samples == len(whole)
