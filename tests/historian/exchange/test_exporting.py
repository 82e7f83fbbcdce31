"""Export: what is written reads back as it was, by us and by other programs."""

from __future__ import annotations

import csv
import json
import subprocess
import sys
from datetime import datetime, timedelta
from pathlib import Path
from typing import Literal
from zoneinfo import ZoneInfo

import numpy as np
import openpyxl
import pandas as pd
import pyarrow.parquet as pq
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from historian import EmbeddedStore, Frame, Tag, UnknownTag
from historian.aggregates import Aggregate
from historian.errors import StoreReadOnly, WrongInput
from historian.exchange import (
    Window,
    _window,
    export_csv,
    export_excel,
    export_parquet,
    import_csv,
    parquet,
    read_mapping,
    workbook,
)
from historian.exchange._window import lots, side_by_side
from historian.frame import NS, Series
from historian.quality import NO_DATA, RANGE_EXCEEDED, SENSOR_FAILURE

T0 = 1_780_000_000 * NS
PRESSURE, TEMP, STATE = "filter.inlet.pressure.pv", "extruder.melt.temp.pv", "filter.wiper.state"
TAGS = [
    Tag(PRESSURE, "bar", reference="gauge", text="melt pressure before the screen"),
    Tag(TEMP, "Cel", text="melt"),
    Tag(STATE, "1", codes={0: "parked", 1: "wiping"}),
]
ALL = Window((PRESSURE, TEMP, STATE), T0, T0 + 3600 * NS)


@pytest.fixture
def store(tmp_path: Path) -> EmbeddedStore:
    """Pressure each second, one of them bad and one uncertain; temperature every other second; one state."""
    store = EmbeddedStore.open(tmp_path / "store")
    store.register(TAGS)
    times = T0 + np.arange(10) * NS
    quality = np.zeros(10, np.uint32)
    quality[3], quality[4] = SENSOR_FAILURE, RANGE_EXCEEDED
    values = np.where(quality == SENSOR_FAILURE, np.nan, 100 + np.arange(10) / 10)
    store.append(
        Frame.of([1] * 10, times, values, quality, arrival_ns=T0),
        Frame.of([2] * 5, times[::2] + 1, 200 + np.arange(5), [0] * 5, arrival_ns=T0),
        Frame.of([3], [T0], [1.0], [0], arrival_ns=T0),
    )
    return store


BACK = """
[file]
form = "long"
[time]
columns = ["time"]
format = "iso"
zone = "UTC"
[long]
name = "tag"
value = "value"
unit = "unit"
quality = "quality"
[[column]]
name = "a.b.pv"
tag = "a.b.pv"
reference = "absolute"
[[column]]
name = "a.c.pv"
tag = "a.c.pv"
"""


@settings(max_examples=30, deadline=None)
@given(
    rows=st.lists(
        st.tuples(
            st.integers(1, 2),
            st.integers(0, 3 * NS),
            st.floats(allow_infinity=False),
            st.sampled_from([0, RANGE_EXCEEDED, SENSOR_FAILURE, NO_DATA]),
        ),
        max_size=30,
    ),
    zone=st.sampled_from([None, ZoneInfo("Europe/Madrid"), ZoneInfo("Asia/Kolkata")]),
)
def test_the_long_form_comes_back_bit_for_bit(
    tmp_path_factory: pytest.TempPathFactory, rows: list[tuple[int, int, float, int]], zone: ZoneInfo | None
) -> None:
    folder = tmp_path_factory.mktemp("export")
    tags = [Tag("a.b.pv", "[psi]", reference="absolute"), Tag("a.c.pv", "[ston_av]")]
    first, second = EmbeddedStore.open(folder / "one"), EmbeddedStore.open(folder / "two")
    try:
        for one in (first, second):
            one.register(tags)
        # A bad sample has no value, and one without a value is bad.
        said = [
            (n, t, v if q < 2**31 else np.nan, NO_DATA if np.isnan(v) and q < 2**31 else q)
            for n, t, v, q in rows
        ]
        if said:
            first.append(Frame.of(*zip(*said, strict=True), arrival_ns=1))
        window = Window(("a.b.pv", "a.c.pv"), 0, 4 * NS)
        export_csv(first, folder / "all.csv", window, zone=zone)
        if said:
            report = import_csv(second, folder / "all.csv", read_mapping(BACK), now_ns=1)
            assert report.reject_count == 0
        for path in window.paths:
            kept, back = (s.read([path], 0, 4 * NS)[path] for s in (first, second))
            assert kept.time_ns.tolist() == back.time_ns.tolist()
            assert kept.quality.tolist() == back.quality.tolist()
            np.testing.assert_array_equal(kept.value, back.value)
    finally:
        first.close()
        second.close()


def test_the_wide_csv_is_for_people(store: EmbeddedStore, tmp_path: Path) -> None:
    path = tmp_path / "wide.csv"
    count = export_csv(
        store, path, ALL, form="wide", zone=ZoneInfo("Europe/Madrid"), separator=";", decimal=","
    )
    rows = list(csv.reader(path.read_text(encoding="utf-8").splitlines(), delimiter=";"))
    assert count == 16
    assert rows[0] == [
        "time", f"{PRESSURE} [bar(g)]", f"{TEMP} [°C]", f"{STATE} [1]", "not good",
    ]  # fmt: skip
    assert rows[1] == ["2026-05-28T22:26:40+02:00", "100", "", "1", ""]
    assert rows[2] == ["2026-05-28T22:26:40.000000001+02:00", "", "200", "", ""]
    by_time = {r[0]: r for r in rows}
    assert by_time["2026-05-28T22:26:43+02:00"][1::3] == ["", PRESSURE]
    assert by_time["2026-05-28T22:26:44+02:00"][1::3] == ["100,4", PRESSURE]
    assert len(rows) == 16


def test_long_parquet_is_plain_for_pandas(store: EmbeddedStore, tmp_path: Path) -> None:
    path = tmp_path / "long.parquet"
    assert export_parquet(store, path, ALL) == 16
    frame = pd.read_parquet(path)
    assert list(frame.columns) == ["time", "time_ns", "tag", "value", "quality"]
    assert str(frame["time"].dtype) == "datetime64[us, UTC]"
    assert frame["time_ns"].is_monotonic_increasing
    # No time stamp in nanoseconds: the exact time stands beside, the one a person reads is cut.
    melt = frame[frame["tag"] == TEMP]
    assert melt["time_ns"].tolist() == [T0 + 2 * k * NS + 1 for k in range(5)]
    assert [t.value for t in melt["time"].dt.as_unit("ns")] == [T0 + 2 * k * NS for k in range(5)]
    pressure = frame[frame["tag"] == PRESSURE]
    assert pressure["value"].isna().tolist() == [k == 3 for k in range(10)]
    assert pressure["quality"].tolist()[3:5] == [SENSOR_FAILURE, RANGE_EXCEEDED]
    noted = json.loads(pq.read_schema(path).metadata[parquet.TAGS_KEY])
    assert [Tag.from_json(t) for t in noted] == TAGS


def test_wide_parquet_has_a_column_and_a_quality_a_tag(store: EmbeddedStore, tmp_path: Path) -> None:
    path = tmp_path / "wide.parquet"
    export_parquet(store, path, ALL, form="wide")
    table = pq.read_table(path)
    assert table.column_names == [
        "time",
        "time_ns",
        *(n for t in TAGS for n in (t.path, f"{t.path}.quality")),
    ]
    assert table.schema.field(PRESSURE).metadata[b"unit"] == b"bar"
    assert table[TEMP].null_count == 10 and table[f"{TEMP}.quality"].null_count == 10
    # A bad sample is there, as its quality alone.
    assert table[PRESSURE].null_count == 6 and table[f"{PRESSURE}.quality"].null_count == 5


def test_excel_has_a_sheet_a_machine(store: EmbeddedStore, tmp_path: Path) -> None:
    path = tmp_path / "trial.xlsx"
    assert export_excel(store, path, ALL, zone=ZoneInfo("Europe/Madrid")) == 16
    book = openpyxl.load_workbook(path)
    assert book.sheetnames == ["filter", "extruder", "quality", "tags"]
    rows = list(book["filter"].values)
    assert rows[0] == ("time (Europe/Madrid)", f"{PRESSURE} [bar(g)]", f"{STATE} [1]")
    start = datetime(2026, 5, 28, 22, 26, 40)
    assert abs(rows[1][0] - start) < timedelta(milliseconds=1) and rows[1][1:] == (100, 1)
    assert rows[4][1:] == (None, None) and rows[5][1] == pytest.approx(100.4)
    listed = list(book["quality"].values)[1:]
    assert [(r[1], r[2], r[3]) for r in listed] == [
        (PRESSURE, None, "0x808C0000"), (PRESSURE, pytest.approx(100.4), "0x40940000"),
    ]  # fmt: skip
    assert next(r for r in book["tags"].values if r[0] == STATE)[5] == "0 = parked, 1 = wiping"
    book.close()


def test_a_machine_named_as_one_of_our_sheets_has_its_own(tmp_path: Path) -> None:
    store = EmbeddedStore.open(tmp_path / "store")
    store.register([Tag("tags.a.pv", "1"), Tag("quality.a.pv", "1")])
    store.append(Frame.of([1, 2], [T0, T0], [1, 2], [0, 0], arrival_ns=T0))
    export_excel(store, tmp_path / "x.xlsx", Window(("tags.a.pv", "quality.a.pv"), T0, T0 + 1))
    book = openpyxl.load_workbook(tmp_path / "x.xlsx", read_only=True)
    assert book.sheetnames == ["tags_machine", "quality_machine", "quality", "tags"]
    book.close()


def test_a_full_sheet_is_told_and_no_file_is_left(
    store: EmbeddedStore, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(workbook, "ROWS_IN_SHEET", 5)
    with pytest.raises(WrongInput, match="more than 5 rows"):
        export_excel(store, tmp_path / "x.xlsx", ALL)
    assert [p.name for p in tmp_path.iterdir()] == ["store"]


def test_aggregates_are_the_stores_own(store: EmbeddedStore, tmp_path: Path) -> None:
    window = Window((PRESSURE,), T0, T0 + 10 * NS, 5 * NS, Aggregate.AVERAGE)
    path = tmp_path / "mean.parquet"
    assert export_parquet(store, path, window) == 2
    rows = store.aggregate(PRESSURE, T0, T0 + 10 * NS, 5 * NS, Aggregate.AVERAGE)
    table = pq.read_table(path)
    assert table["value"].to_pylist() == [r.value for r in rows]
    assert table["quality"].to_pylist() == [r.quality for r in rows]
    assert json.loads(table.schema.metadata[parquet.WINDOW_KEY])["aggregate"] == "Average"


@pytest.mark.parametrize(
    ("kind", "path", "heading"),
    [
        (Aggregate.AVERAGE, PRESSURE, "[bar(g)]"),
        (Aggregate.COUNT, PRESSURE, "[1]"),
        (Aggregate.DURATION_GOOD, PRESSURE, "[ms]"),
        (Aggregate.PERCENT_BAD, TEMP, "[%]"),
        (Aggregate.RANGE, PRESSURE, "[bar]"),
        (Aggregate.DELTA, TEMP, "[ΔK]"),
        (Aggregate.VARIANCE_SAMPLE, TEMP, "[(K)2]"),
        (Aggregate.WORST_QUALITY, TEMP, "[1]"),
        (Aggregate.TOTAL, PRESSURE, "[bar.s]"),
    ],
)
def test_an_aggregates_numbers_have_their_own_unit(
    store: EmbeddedStore, tmp_path: Path, kind: Aggregate, path: str, heading: str
) -> None:
    export_csv(store, tmp_path / "x.csv", Window((path,), T0, T0 + 10 * NS, 5 * NS, kind), form="wide")
    assert (tmp_path / "x.csv").read_text().split(",")[1] == f"{path} {heading}"


def test_a_window_in_slices_is_the_whole_window(store: EmbeddedStore) -> None:
    store.append(*(Frame.of([2], [T0 + h * 3600 * NS], [h], [0], arrival_ns=T0) for h in range(1, 30)))
    window = Window((PRESSURE, TEMP), T0, T0 + 31 * 3600 * NS)
    parts = list(lots(store, window))
    assert len(parts) > 3
    whole = store.read(window.paths, window.start_ns, window.end_ns)
    for path in window.paths:
        assert np.concatenate([p[path].time_ns for p in parts]).tolist() == whole[path].time_ns.tolist()


def test_an_empty_window_gives_a_file_with_a_header(store: EmbeddedStore, tmp_path: Path) -> None:
    window = Window((PRESSURE,), T0 + 1000 * NS, T0 + 2000 * NS)
    assert export_csv(store, tmp_path / "a.csv", window) == 0
    assert (tmp_path / "a.csv").read_text() == "time,tag,value,unit,quality\n"
    assert export_parquet(store, tmp_path / "a.parquet", window) == 0
    assert pq.read_table(tmp_path / "a.parquet").num_rows == 0
    assert export_excel(store, tmp_path / "a.xlsx", window) == 0


@pytest.mark.parametrize(
    ("paths", "end", "interval", "kind", "said"),
    [
        ((), 1, 0, None, "no tag"),
        (("a.b", "a.b"), 1, 0, None, "named twice"),
        (("a.b",), 0, 0, None, "ends before"),
        (("a.b",), 1, 5, None, "both or neither"),
        (("a.b",), 1, 0, Aggregate.COUNT, "both or neither"),
    ],
)
def test_windows_that_say_nothing_are_refused(
    paths: tuple[str, ...], end: int, interval: int, kind: Aggregate | None, said: str
) -> None:
    with pytest.raises(WrongInput, match=said):
        Window(paths, 0, end, interval, kind)


@pytest.mark.parametrize("export", [export_csv, export_parquet, export_excel])
def test_an_unknown_tag_and_a_folder_that_is_not_there(
    store: EmbeddedStore, tmp_path: Path, export: type
) -> None:
    with pytest.raises(UnknownTag, match=PRESSURE):
        export(store, tmp_path / "x", Window((PRESSURE + "x",), T0, T0 + 1))
    with pytest.raises(StoreReadOnly, match="cannot be written"):
        export(store, tmp_path / "no" / "x", ALL)
    assert [p.name for p in tmp_path.iterdir()] == ["store"]


def test_an_old_file_stays_until_the_new_one_is_whole(
    store: EmbeddedStore, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "x.csv"
    path.write_text("old")

    def broken(*arguments: object) -> object:
        raise KeyboardInterrupt

    monkeypatch.setattr(store, "read", broken)
    with pytest.raises(KeyboardInterrupt):
        export_csv(store, path, ALL)
    assert path.read_text() == "old"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["store", "x.csv"]


def test_progress_rises_to_the_last_sample(store: EmbeddedStore, tmp_path: Path) -> None:
    told: list[tuple[int, int]] = []
    for export in (export_csv, export_parquet, export_excel):
        export(store, tmp_path / "x", ALL, progress=lambda done, total: told.append((done, total)))
    assert told and all(0 < done <= total == 3600 * NS for done, total in told)


@pytest.mark.parametrize("kind", Aggregate)
@pytest.mark.parametrize("path", [TEMP, PRESSURE, STATE])
def test_an_aggregate_in_pieces_is_that_of_the_whole_window(
    store: EmbeddedStore, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: Aggregate, path: str
) -> None:
    store.append(Frame.of([2] * 9, T0 + np.arange(9) * 1200 * NS, np.arange(9.0), [0] * 9, arrival_ns=T0))
    monkeypatch.setattr(_window, "_ROWS_AT_ONCE", 2)
    window = Window((path,), T0 - 840 * NS, T0 + 9600 * NS, 420 * NS, kind)
    assert export_parquet(store, tmp_path / "x.parquet", window) == 25
    rows = store.aggregate(path, window.start_ns, window.end_ns, window.interval_ns, kind)
    table = pq.read_table(tmp_path / "x.parquet")
    assert pq.ParquetFile(tmp_path / "x.parquet").num_row_groups == 13
    assert table["time_ns"].to_pylist() == [r.time_ns for r in rows]
    assert table["quality"].to_pylist() == [r.quality for r in rows]
    np.testing.assert_allclose(
        table["value"].to_numpy().astype(np.float64), [r.value for r in rows], rtol=1e-12, equal_nan=True
    )


@settings(max_examples=30, deadline=None)
@given(
    samples=st.lists(st.tuples(st.integers(0, 2), st.integers(0, 20)), min_size=1, max_size=60, unique=True),
    cells=st.integers(1, 40),
)
def test_tags_side_by_side_in_grids_of_any_size_are_the_same_rows(
    samples: list[tuple[int, int]], cells: int
) -> None:
    paths = ("a.a", "b.b", "c.c")
    found = {
        path: Series.of(
            times := sorted(t for k, t in samples if k == place), [10.0 * t + place for t in times], [0] * len(times)
        )
        for place, path in enumerate(paths)
    }  # fmt: skip
    bounded = pytest.MonkeyPatch()
    bounded.setattr(_window, "_CELLS_AT_ONCE", cells)
    try:
        grids = list(side_by_side(found, paths))
    finally:
        bounded.undo()
    assert all(g.value.size <= max(cells, len(paths)) for g in grids)
    rows = [(t, k, v) for g in grids for k in range(3) for t, v in zip(g.time_ns.tolist(), g.value[:, k].tolist(), strict=True)]  # fmt: skip
    assert sorted((k, t) for t, k, v in rows if v == v) == sorted(samples)  # noqa: PLR0124
    assert all(v == 10.0 * t + k for t, k, v in rows if v == v)  # noqa: PLR0124


@pytest.mark.parametrize("form", ["long", "wide"])
@pytest.mark.parametrize("days", [4, pytest.param(30, marks=pytest.mark.long)])
def test_an_export_holds_little_whatever_the_window(
    tmp_path: Path, form: Literal["long", "wide"], days: int
) -> None:
    """Half a million samples a day, as a script of its own so that its memory is its own."""
    script = tmp_path / "fill.py"
    script.write_text(FILL)
    child = subprocess.run(
        [sys.executable, str(script), str(tmp_path / "big"), form, str(days)],
        capture_output=True, text=True, timeout=110, check=True,
    )  # fmt: skip
    samples, grown_kib = map(int, child.stdout.split())
    assert samples == days * 24 * 3600 * 6
    # Two million samples read at once would take 230 MiB, side by side 460.
    assert grown_kib < 150 * 1024


FILL = """
import resource, sys
from pathlib import Path
import numpy as np
from historian import EmbeddedStore, Frame, Tag
from historian.exchange import Window, export_parquet
from historian.frame import NS

folder, form, days = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3])
paths = tuple(f"lab.a{k}.pv" for k in range(6))
store = EmbeddedStore.open(folder, synchronous="normal")
store.register(Tag(p, "1") for p in paths)
for hour in range(24 * days):
    times = (hour * 3600 + np.arange(3600)) * NS
    # Stamps of their own: in the wide form every sample is a row.
    frames = [Frame.of([k + 1] * 3600, times + k, np.sin(times / 1e12 + k), [0] * 3600, arrival_ns=int(times[-1])) for k in range(6)]
    store.append(*frames)
export_parquet(store, folder / "warm.parquet", Window(paths, 0, 60 * NS), form=form)
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
count = export_parquet(store, folder / "x.parquet", Window(paths, 0, days * 86400 * NS), form=form)
print(count, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before)
"""
