"""A gap is told on each way through the historian, and nothing is put into it.

A source that falls silent leaves one mark (bad, no data) and then nothing. So most of a gap is emptiness, and
each reader of it must know from what lies before that there was no value.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import openpyxl
import pyarrow.parquet as pq
import pytest

from historian import NS, EmbeddedStore, Frame, Tag
from historian.aggregates import Aggregate, AggregateConfig
from historian.embedded.upkeep import Upkeep
from historian.envelope import Envelope, envelope_of
from historian.exchange import Window, export_csv, export_excel, export_parquet
from historian.quality import BAD, GOOD, NO_DATA, is_bad, is_good
from historian.retention import Keep
from historian.rollups.columns import HOUR_NS, MINUTE_NS

T = 1_893_456_000 * NS
SLOPED, HELD = "filter.inlet.pressure.pv", "filter.wiper.state"
PATHS = (SLOPED, HELD)
HOURS = 6
LOST_NS, BACK_NS = T + 2 * HOUR_NS + 90 * NS, T + 4 * HOUR_NS + 30 * NS
MARK_NS = LOST_NS + 1_000_000
"""Where the gap is marked; nothing follows until the source is back."""

EVER = (T, T + HOURS * HOUR_NS)

# What may be good of an interval without any value: how much there is of what. (For the two counts of
# samples the standard has no other status: PercentValues of none, 5.4.3.21 and 5.4.3.24.)
OF_THE_GAP = {
    Aggregate.COUNT,
    Aggregate.NUMBER_OF_TRANSITIONS,
    Aggregate.ANNOTATION_COUNT,
    Aggregate.DURATION_GOOD,
    Aggregate.DURATION_BAD,
    Aggregate.PERCENT_GOOD,
    Aggregate.PERCENT_BAD,
    Aggregate.WORST_QUALITY,
    Aggregate.WORST_QUALITY_2,
}

NONE_OF_IT = {
    Aggregate.COUNT,
    Aggregate.NUMBER_OF_TRANSITIONS,
    Aggregate.DURATION_GOOD,
    Aggregate.PERCENT_GOOD,
}


def line_of(every_s: int = 5) -> list[Frame]:
    """Two tags, a sample each five seconds but for the gap."""
    frames = []
    times = np.arange(T, T + HOURS * HOUR_NS, every_s * NS, dtype=np.int64)
    there = times[(times <= LOST_NS) | (times >= BACK_NS)]
    for cut in np.array_split(there, HOURS):
        n = len(cut)
        value = np.sin(np.arange(n)) * 5 + 100
        frames.append(
            Frame.of(
                np.repeat([1, 2], n),
                np.tile(cut, 2),
                np.concatenate([value, np.arange(n) % 3]),
                np.zeros(2 * n),
                arrival_ns=int(cut[-1]),
            )
        )
    mark = Frame.of([1, 2], [MARK_NS] * 2, [math.nan] * 2, [NO_DATA] * 2, arrival_ns=MARK_NS)
    return sorted([*frames, mark], key=lambda f: f.arrival_ns)


def seal(folder: Path) -> None:
    upkeep = Upkeep.open(folder, "line-1", Keep())
    upkeep.step(T + 3 * 86_400 * NS, seal_all=True)
    upkeep.close()


@pytest.fixture(scope="module", params=["recent", "sealed", "half sealed"])
def store(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[EmbeddedStore]:
    folder = tmp_path_factory.mktemp("line")
    store = EmbeddedStore.open(folder)
    store.register([Tag(SLOPED, "bar", reference="gauge"), Tag(HELD, "1", codes={0: "a", 1: "b", 2: "c"})])
    frames = line_of()
    store.append(*frames[:3])
    if request.param == "half sealed":
        seal(folder)
    store.append(*frames[3:])
    if request.param == "sealed":
        seal(folder)
    yield store
    store.close()


def breaks(outline: Envelope) -> bool:
    """Whether no line is drawn from before the gap to after it."""
    last = np.flatnonzero(outline.time_ns <= LOST_NS)[-1]
    first = np.flatnonzero(outline.time_ns >= BACK_NS)[0]
    return bool(np.isnan(outline.value[last + 1 : first]).any())


@pytest.mark.parametrize("path", PATHS)
def test_read(store: EmbeddedStore, path: str) -> None:
    series = store.read([path], LOST_NS + 1, BACK_NS)[path]
    assert (series.time_ns.tolist(), series.quality.tolist()) == ([MARK_NS], [NO_DATA])
    assert np.isnan(series.value).all()


@pytest.mark.parametrize("path", PATHS)
def test_the_value_before_a_window_is_the_gap_and_not_the_one_before_that(
    store: EmbeddedStore, path: str
) -> None:
    series = store.read([path], MARK_NS + 1, BACK_NS, bound_before=True)[path]
    assert series.quality.tolist() == [NO_DATA]


@pytest.mark.parametrize("path", PATHS)
@pytest.mark.parametrize("columns", [3, 40, 300, 100_000])
def test_a_picture(store: EmbeddedStore, path: str, columns: int) -> None:
    outline = store.envelope(path, *EVER, columns)
    assert breaks(outline)
    assert not np.any((outline.time_ns > MARK_NS) & (outline.time_ns < BACK_NS))
    empty = store.envelope(path, MARK_NS + 1, BACK_NS, columns)
    assert len(empty.time_ns) == empty.samples == 0


@pytest.mark.parametrize("path", PATHS)
@pytest.mark.parametrize("interval_ns", [MINUTE_NS, HOUR_NS])
def test_rollups(store: EmbeddedStore, path: str, interval_ns: int) -> None:
    rows = store.rollup([path], *EVER, interval_ns)
    holds_mark = rows.start_ns == MARK_NS // interval_ns * interval_ns
    assert rows.bad[holds_mark].tolist() == [1] and rows.worst[holds_mark].tolist() == [NO_DATA]
    assert rows.bad_first_ns[holds_mark].tolist() == [MARK_NS]
    assert rows.bad.sum() == 1
    within = (rows.start_ns > MARK_NS) & (rows.start_ns + interval_ns <= BACK_NS)
    assert not within.any(), "an interval without a sample has no row"


@pytest.mark.parametrize("path", PATHS)
@pytest.mark.parametrize("kind", Aggregate)
@pytest.mark.parametrize("config", [AggregateConfig(), AggregateConfig(False, 50, 50, True)])
def test_no_aggregate_of_a_gap_is_good(
    store: EmbeddedStore, path: str, kind: Aggregate, config: AggregateConfig
) -> None:
    """Not at its beginning, where the mark is, nor in its midst, where nothing is, nor before its end."""
    step_ns = 10 * MINUTE_NS
    start_ns = MARK_NS // step_ns * step_ns + step_ns
    rows = store.aggregate(path, start_ns, BACK_NS // step_ns * step_ns, step_ns, kind, config=config)
    assert len(rows) == 11
    quality = np.array([r.quality for r in rows], dtype=np.uint32)
    if kind not in OF_THE_GAP:
        assert not is_good(quality).any()
        # What is interpolated after the standard says so, and carries its doubt.
        assert all(math.isnan(r.value) for r, bad in zip(rows, is_bad(quality), strict=True) if bad)
    elif kind in NONE_OF_IT:
        assert {r.value for r in rows} == {0.0}
    elif kind is Aggregate.DURATION_BAD:
        assert {r.value for r in rows} == {600_000.0}
    elif kind is Aggregate.PERCENT_BAD:
        assert {r.value for r in rows} == {100.0}
    elif kind in (Aggregate.WORST_QUALITY, Aggregate.WORST_QUALITY_2):
        assert all(math.isnan(r.value) or int(r.value) & BAD for r in rows)


@pytest.mark.parametrize("path", PATHS)
def test_an_interval_that_holds_the_edge_of_a_gap_counts_its_bad_part(
    store: EmbeddedStore, path: str
) -> None:
    start_ns = LOST_NS // MINUTE_NS * MINUTE_NS
    (row,) = store.aggregate(path, start_ns, start_ns + MINUTE_NS, MINUTE_NS, Aggregate.DURATION_BAD)
    assert row.value == pytest.approx((start_ns + MINUTE_NS - MARK_NS) / 1e6, abs=1e-6)


def test_files_of_samples(store: EmbeddedStore, tmp_path: Path) -> None:
    window = Window(PATHS, LOST_NS, BACK_NS + NS)
    export_csv(store, tmp_path / "long.csv", window)
    with (tmp_path / "long.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert [(r["value"] == "", r["quality"]) for r in rows] == [
        (False, "0x00000000"),
        (False, "0x00000000"),
        (True, "0x809B0000"),
        (True, "0x809B0000"),
        (False, "0x00000000"),
        (False, "0x00000000"),
    ]
    export_csv(store, tmp_path / "wide.csv", window, form="wide")
    with (tmp_path / "wide.csv").open(newline="", encoding="utf-8") as file:
        table = list(csv.reader(file))
    assert table[2][1:] == ["", "", " ".join(PATHS)]
    assert len(table) == 4
    for form in ("long", "wide"):
        export_parquet(store, tmp_path / f"{form}.parquet", window, form=form)
        found = pq.read_table(tmp_path / f"{form}.parquet").to_pandas().sort_values("time_ns")
        value, quality = ("value", "quality") if form == "long" else (SLOPED, f"{SLOPED}.quality")
        gap = found[found["time_ns"] == MARK_NS]
        assert gap[value].isna().all() and set(gap[quality]) == {NO_DATA}
        assert found[found["time_ns"] != MARK_NS][value].notna().all()


def test_a_workbook(store: EmbeddedStore, tmp_path: Path) -> None:
    export_excel(store, tmp_path / "gap.xlsx", Window(PATHS, LOST_NS, BACK_NS + NS))
    book = openpyxl.load_workbook(tmp_path / "gap.xlsx")
    rows = list(book["filter"].iter_rows(min_row=2, values_only=True))
    assert [r[1] is None for r in rows] == [False, True, False]
    said = [(r[1], r[3]) for r in book["quality"].iter_rows(min_row=2, values_only=True)]
    assert sorted(said) == [(p, "0x809B0000") for p in sorted(PATHS)]


@pytest.mark.parametrize("kind", [Aggregate.AVERAGE, Aggregate.TIME_AVERAGE_2, Aggregate.INTERPOLATIVE])
def test_a_file_of_aggregates(store: EmbeddedStore, tmp_path: Path, kind: Aggregate) -> None:
    step_ns = 10 * MINUTE_NS
    start_ns = MARK_NS // step_ns * step_ns + step_ns
    window = Window((SLOPED,), start_ns, start_ns + HOUR_NS, interval_ns=step_ns, aggregate=kind)
    export_csv(store, tmp_path / "mean.csv", window)
    with (tmp_path / "mean.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 6
    for row in rows:
        code = int(row["quality"], 16)
        assert code >> 30, "never good"
        assert (row["value"] == "") == (kind is not Aggregate.INTERPOLATIVE)


def test_a_late_sample_in_a_gap_parts_it_and_does_not_bridge_it(tmp_path: Path) -> None:
    """A sensor that was bad for hours, sealed; a good sample from its midst comes late."""
    store = EmbeddedStore.open(tmp_path)
    store.register([Tag(SLOPED, "bar", reference="gauge")])
    n = 3_000
    times = T + np.arange(n) * NS
    bad = (np.arange(n) >= 1_000) & (np.arange(n) < 2_000)
    value = np.where(bad, np.nan, np.arange(n) % 7 + 0.5)
    store.append(Frame.of([1] * n, times, value, np.where(bad, NO_DATA, GOOD), arrival_ns=int(times[-1])))
    seal(tmp_path)
    late_ns = int(times[1_500]) + 5
    store.append(Frame.of([1], [late_ns], [3.0], [GOOD], arrival_ns=int(times[-1]) + NS))
    for columns in (5, 20, 200):
        outline = store.envelope(SLOPED, T, T + n * NS, columns)
        whole = store.read([SLOPED], T, T + n * NS)[SLOPED]
        plain = envelope_of(whole, T, T + n * NS, columns)
        np.testing.assert_array_equal(outline.time_ns, plain.time_ns)
        np.testing.assert_array_equal(outline.value, plain.value)
        (place,) = np.flatnonzero(outline.time_ns == late_ns)
        assert np.isnan(outline.value[[place - 1, place + 1]]).all()
    store.close()
