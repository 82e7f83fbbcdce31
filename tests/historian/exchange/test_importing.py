"""Import: every cell is kept at its time, or listed with its line and reason; twice is once."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from historian import EmbeddedStore, Frame, Tag
from historian.errors import WrongInput
from historian.exchange import CsvMapping, ImportReport, MappingWrong, _samples, import_csv, read_mapping
from historian.frame import NS
from historian.quality import NO_DATA, SENSOR_FAILURE

NOW = 2_000_000_000 * NS
INLET, OUTLET = "filter.inlet.pressure.pv", "filter.outlet.pressure.pv"
TEMP = "extruder.melt.temp.pv"

PANEL = """
[file]
separator = ";"
decimal = ","
encoding = "cp1252"
header_line = 2
units_line = 3
first_line = 4
bad = ["---"]
[time]
columns = ["Datum", "Uhrzeit"]
format = "%d.%m.%Y %H:%M:%S"
zone = "Europe/Madrid"
[[column]]
name = "Druck vor Sieb"
tag = "filter.inlet.pressure.pv"
reference = "gauge"
[[column]]
name = "Massetemperatur"
tag = "extruder.melt.temp.pv"
[[column]]
name = "Antrieb"
tag = "extruder.enable.state"
words = { "ein" = 1, "aus" = 0 }
"""
HEAD = "Linie 2;;;;\nDatum;Uhrzeit;Druck vor Sieb;Massetemperatur;Antrieb;Rezept\n;;MPa;°F;;\n"


@pytest.fixture
def store(tmp_path: Path) -> EmbeddedStore:
    return EmbeddedStore.open(tmp_path / "store")


def ns(text: str) -> int:
    return round(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()) * NS


def write(folder: Path, text: str, encoding: str = "cp1252") -> Path:
    path = folder / "panel.csv"
    path.write_bytes(text.encode(encoding))
    return path


def bring(store: EmbeddedStore, path: Path, mapping: CsvMapping, **more: Any) -> ImportReport:
    return import_csv(store, path, mapping, now_ns=NOW, **more)


def everything(store: EmbeddedStore) -> dict[str, list[tuple[int, str, int]]]:
    span = store.span()
    if span is None:
        return {}
    found = store.read(list(store.tags()), span[0], span[1] + 1)
    return {
        path: [
            (t, repr(v), q)
            for t, v, q in zip(s.time_ns.tolist(), s.value.tolist(), s.quality.tolist(), strict=True)
        ]
        for path, s in found.items()
    }


def test_a_panels_file_is_read_with_its_marks_units_and_zone(store: EmbeddedStore, tmp_path: Path) -> None:
    path = write(
        tmp_path, HEAD + "01.07.2026;12:00:00;12,5;392;ein;PP\n01.07.2026;12:00:01;---;;aus;PP\n\n;;;;;\n"
    )
    report = bring(store, path, read_mapping(PANEL))
    at = ns("2026-07-01T10:00:00")
    kept = store.read([INLET, TEMP, "extruder.enable.state"], at, at + 10 * NS)
    assert kept[INLET].time_ns.tolist() == [at, at + NS]
    assert kept[INLET].value[0] == 125.0 and np.isnan(kept[INLET].value[1])
    assert kept[INLET].quality.tolist() == [0, SENSOR_FAILURE]
    assert kept[TEMP].value.tolist() == pytest.approx([200.0])
    assert kept["extruder.enable.state"].value.tolist() == [1.0, 0.0]
    assert store.tags()[INLET].reference == "gauge"
    assert store.latest()[INLET].arrival_ns == NOW
    assert (report.rows, report.samples, report.new, report.reject_count) == (2, 5, 5, 0)
    assert any("Rezept" in note for note in report.notes)
    assert not (tmp_path / "panel.rejected.csv").exists()


def test_the_same_file_twice_changes_nothing(store: EmbeddedStore, tmp_path: Path) -> None:
    path = write(tmp_path, HEAD + "01.07.2026;12:00:00;12,5;392;ein;\n01.07.2026;12:09:00;---;391;aus;\n")
    mapping = read_mapping(PANEL.replace("zone =", 'gap = "10 s"\nzone ='))
    bring(store, path, mapping)
    before, number = everything(store), store.last_number()
    report = bring(store, path, mapping)
    assert everything(store) == before
    assert store.last_number() == number
    assert (report.new, report.replaced) == (0, 0)


def test_a_dry_run_says_what_would_happen_and_writes_nothing(store: EmbeddedStore, tmp_path: Path) -> None:
    path = write(tmp_path, HEAD + "01.07.2026;12:00:00;12,5;392;ein;\n01.07.2026;x;1;1;aus;\n")
    before = sorted(p.name for p in tmp_path.iterdir())
    dry = bring(store, path, read_mapping(PANEL), dry_run=True)
    assert store.tags() == {} and store.span() is None
    assert sorted(p.name for p in tmp_path.iterdir()) == before
    wet = bring(store, path, read_mapping(PANEL))
    assert {**dry.to_json(), "dry_run": False} == wet.to_json()
    assert "12.5" not in "\n".join(dry.lines()) and "125 to 125 bar" in "\n".join(dry.lines())


def test_what_does_not_fit_is_listed_and_can_be_mended(store: EmbeddedStore, tmp_path: Path) -> None:
    rows = [
        "01.07.2026;12:00:00;12,5;392;ein;",
        "31.06.2026;12:00:01;12,5;392;ein;",
        "01.07.2026;12:00:02;12.5;392;ein;",
        "01.07.2026;12:00:03;12,5",
        "01.07.2026;12:00:04;12,5;392;ein;;;more",
        '01.07.2026;12:00:05;12,5;392;"ein;',
        "01.07.2026;12:00:06;x;y;auf;Größe",
    ]
    path = write(tmp_path, HEAD + "\n".join(rows) + "\n")
    report = bring(store, path, read_mapping(PANEL))
    lines = [(r.line, r.reason) for r in report.rejects]
    assert [n for n, _ in lines] == [5, 6, 7, 8, 9, 10, 10, 10]
    for (_, reason), part in zip(lines, ["31.06.2026", "'12.5'", "3 cells", "8 cells", "ein;"], strict=False):
        assert part in reason
    kept = (tmp_path / "panel.rejected.csv").read_bytes()
    assert kept == (HEAD + "\n".join(rows[1:]) + "\n").encode("cp1252")
    reasons = (tmp_path / "panel.rejected.txt").read_text(encoding="utf-8").splitlines()
    assert len(reasons) == report.reject_count == 8 and reasons[0].startswith("line 5: ")
    # The good cells of a row with a bad one are kept.
    assert len(store.read([TEMP], 0, NOW)[TEMP]) == 3
    mended = tmp_path / "mended.csv"
    mended.write_bytes(kept.replace(b"12.5", b"12,5").replace(b"31.06", b"30.06"))
    again = bring(store, mended, read_mapping(PANEL))
    assert again.new == 4


def test_old_rejects_go_when_none_are_left(store: EmbeddedStore, tmp_path: Path) -> None:
    bring(store, write(tmp_path, HEAD + "x;12:00:00;12,5;392;ein;\n"), read_mapping(PANEL))
    assert (tmp_path / "panel.rejected.txt").exists()
    bring(store, write(tmp_path, HEAD + "01.07.2026;12:00:00;12,5;392;ein;\n"), read_mapping(PANEL))
    assert sorted(p.name for p in tmp_path.iterdir()) == ["panel.csv", "store"]


def test_bytes_that_the_encoding_does_not_know_are_kept_as_they_are(
    store: EmbeddedStore, tmp_path: Path
) -> None:
    path = tmp_path / "panel.csv"
    bad = b"01.07.2026;12:00:01;1\xff2;392;ein;\n"
    path.write_bytes(HEAD.encode() + b"01.07.2026;12:00:00;12,5;392;ein;\n" + bad)
    report = bring(store, path, read_mapping(PANEL.replace("cp1252", "utf-8")))
    assert [r.line for r in report.rejects] == [5]
    assert (tmp_path / "panel.rejected.csv").read_bytes().endswith(bad)


def test_utf_16_with_a_mark_is_read(store: EmbeddedStore, tmp_path: Path) -> None:
    path = write(tmp_path, HEAD + "01.07.2026;12:00:00;12,5;392;ein;\n", "utf-16")
    assert bring(store, path, read_mapping(PANEL.replace("cp1252", "utf-16"))).new == 3
    with pytest.raises(WrongInput, match=r"header|time"):
        bring(store, path, read_mapping(PANEL))


SIMPLE = """
[time]
columns = ["time"]
format = "iso"
zone = "Europe/Madrid"
[[column]]
name = "a"
tag = "lab.a.pv"
unit = "1"
[[column]]
name = "b"
tag = "lab.b.pv"
unit = "1"
"""


def test_repeated_rows_are_kept_once_and_the_last_value_wins(store: EmbeddedStore, tmp_path: Path) -> None:
    text = (
        "time,a,b\n2026-01-01T00:00:00Z,1,2\n2026-01-01T00:00:01Z,5,6\n2026-01-01T00:00:00Z,1,3\n"
        "2026-01-01T00:00:00Z,1,\n"
    )
    path = write(tmp_path, text)
    report = bring(store, path, read_mapping(SIMPLE))
    assert everything(store)["lab.b.pv"] == [
        (ns("2026-01-01T00:00:00"), "3.0", 0),
        (ns("2026-01-01T00:00:01"), "6.0", 0),
    ]
    assert (report.repeated, report.overwritten) == (2, 1)
    assert [(r.line, r.reason) for r in report.rejects] == [
        (2, "b: 2 is overwritten by 3 of line 4 at the same time")
    ]
    # Taken in again, an overwritten line would win: it is told, not kept for mending.
    assert (tmp_path / "panel.rejected.csv").read_text() == "time,a,b\n"


def test_another_value_at_the_same_time_replaces_the_stored_one(store: EmbeddedStore, tmp_path: Path) -> None:
    bring(store, write(tmp_path, "time,a,b\n2026-01-01T00:00:00Z,1,2\n"), read_mapping(SIMPLE))
    report = bring(store, write(tmp_path, "time,a,b\n2026-01-01T00:00:00Z,1,7\n"), read_mapping(SIMPLE))
    assert (report.new, report.replaced) == (0, 1)
    assert [v for _, v, _ in everything(store)["lab.b.pv"]] == ["7.0"]


def test_samples_of_another_clock_epoch_count_as_there(store: EmbeddedStore, tmp_path: Path) -> None:
    store.register([Tag("lab.a.pv", "1"), Tag("lab.b.pv", "1")])
    t = ns("2026-01-01T00:00:00")
    store.append(
        Frame.of([1], [t], [9.0], [0], arrival_ns=t),
        Frame.of([1], [t], [1.0], [0], arrival_ns=t, clock_epoch=1),
    )
    report = bring(store, write(tmp_path, "time,a,b\n2026-01-01T00:00:00Z,1,\n"), read_mapping(SIMPLE))
    assert (report.new, report.replaced, report.samples) == (0, 0, 1)


def test_holes_are_told_and_marked_where_the_mapping_says(store: EmbeddedStore, tmp_path: Path) -> None:
    rows = [f"2026-01-01T00:00:{s:02d}Z,{s},{s}" for s in [*range(10), *range(40, 50)]]
    path = write(tmp_path, "\n".join(["time,a,b", *rows]) + "\n")
    report = bring(store, path, read_mapping(SIMPLE))
    assert report.hole_count == 1 and report.samples == 40
    assert any("about 30 rows" in line for line in report.lines())
    marked = bring(store, path, read_mapping(SIMPLE.replace("zone", 'gap = "5 s"\nzone')))
    assert marked.new == 2
    a = everything(store)["lab.a.pv"]
    assert a[10] == (ns("2026-01-01T00:00:10"), "nan", NO_DATA)


def test_a_hole_that_the_store_fills_is_not_marked(store: EmbeddedStore, tmp_path: Path) -> None:
    filled = [f"2026-01-01T00:00:{s:02d}Z,{s},{s}" for s in range(10, 40)]
    bring(store, write(tmp_path, "\n".join(["time,a,b", *filled])), read_mapping(SIMPLE))
    rows = [f"2026-01-01T00:00:{s:02d}Z,{s},{s}" for s in [*range(10), *range(40, 50)]]
    path = write(tmp_path, "\n".join(["time,a,b", *rows]))
    report = bring(store, path, read_mapping(SIMPLE.replace("zone", 'gap = "5 s"\nzone')))
    assert report.new == 40
    assert all(q == 0 for _, _, q in everything(store)["lab.a.pv"])


def test_the_hour_that_passes_twice_keeps_every_row(store: EmbeddedStore, tmp_path: Path) -> None:
    shown = [f"2026-10-25 {h:02d}:{m:02d}:00" for h in (1, 2, 2, 3) for m in range(60)]
    path = write(tmp_path, "\n".join(["time,a,b", *(f"{t},{k},{k}" for k, t in enumerate(shown))]))
    report = bring(store, path, read_mapping(SIMPLE))
    a = everything(store)["lab.a.pv"]
    assert [t for t, _, _ in a] == [ns("2026-10-24T23:00:00") + k * 60 * NS for k in range(240)]
    assert (report.repeated, report.overwritten, report.hole_count, report.notes) == (0, 0, 0, [])


def test_a_skipped_hour_is_rejected_with_the_remedy(store: EmbeddedStore, tmp_path: Path) -> None:
    path = write(tmp_path, "time,a,b\n2026-03-29 01:59:00,1,1\n2026-03-29 02:30:00,2,2\n")
    report = bring(store, path, read_mapping(SIMPLE))
    assert [r.line for r in report.rejects] == [3]
    assert (
        "does not exist in Europe/Madrid" in report.rejects[0].reason
        and "Etc/GMT-1" in report.rejects[0].reason
    )
    assert report.samples == 2


LONG = """
[file]
form = "long"
separator = "\\t"
[time]
columns = ["time"]
format = "unix_ms"
zone = "UTC"
[long]
name = "tag"
value = "value"
unit = "unit"
quality = "status"
[qualities]
OK = "good"
DOUBT = "uncertain"
FAULT = "bad"
[[column]]
name = "P1"
tag = "filter.inlet.pressure.pv"
[[column]]
name = "T1"
tag = "extruder.melt.temp.pv"
"""


def test_the_long_form_takes_unit_and_quality_from_each_row(store: EmbeddedStore, tmp_path: Path) -> None:
    rows = [
        "1000\tP1\t1\tMPa(g)\tOK",
        "2000\tP1\t12\tbar\tDOUBT",
        "3000\tP1\t\tbar\tFAULT",
        "1000\tT1\t212\t°F\tOK",
        "4000\tP1\t1\tbar(a)\tOK",
        "5000\tP1\t1\tCel\tOK",
        "6000\tP1\t1\tbar\tBROKEN",
        "7000\tX9\t1\tbar\tOK",
    ]
    path = write(tmp_path, "time\ttag\tvalue\tunit\tstatus\n" + "\n".join(rows), "utf-8")
    mapping = read_mapping(
        LONG.replace('"filter.inlet.pressure.pv"', '"filter.inlet.pressure.pv"\nreference = "gauge"')
    )
    report = bring(store, path, mapping)
    kept = everything(store)
    assert [(t // NS, v, q >> 30) for t, v, q in kept[INLET]] == [
        (1, "10.0", 0),
        (2, "12.0", 1),
        (3, "nan", 2),
    ]
    assert float(kept[TEMP][0][1]) == pytest.approx(100.0)
    assert [r.line for r in report.rejects] == [6, 7, 8]
    assert "never mixed" in report.rejects[0].reason
    assert any("X9 (1 rows)" in note for note in report.notes)


@settings(max_examples=25, deadline=None)
@given(
    lot=st.sampled_from([1, 3, 1000]),
    rows=st.lists(
        st.tuples(
            st.integers(0, 30),
            st.one_of(st.none(), st.integers(-9, 9)),
            st.one_of(st.none(), st.integers(-9, 9)),
        ),
        min_size=1,
        max_size=60,
    ),
)
def test_any_order_and_repetition_keeps_the_last_value_of_each_time(
    tmp_path_factory: pytest.TempPathFactory, lot: int, rows: list[tuple[int, int | None, int | None]]
) -> None:
    folder = tmp_path_factory.mktemp("import")
    lots = pytest.MonkeyPatch()
    lots.setattr(_samples, "_CELLS_IN_LOT", 1)
    lots.setattr(_samples, "_FEWEST_ROWS", lot)
    text = "\n".join(f"{t * 1000},{'' if a is None else a},{'' if b is None else b}" for t, a, b in rows)
    path = write(folder, "time,a,b\n" + text)
    mapping = read_mapping(SIMPLE.replace('"iso"', '"unix_ms"'))
    store = EmbeddedStore.open(folder / "store")
    try:
        dry = bring(store, path, mapping, dry_run=True)
        report = bring(store, path, mapping)
        wanted: dict[tuple[str, int], int] = {}
        for t, a, b in rows:
            wanted |= {(p, t): v for p, v in (("lab.a.pv", a), ("lab.b.pv", b)) if v is not None}
        kept = {(p, t // NS): int(float(v)) for p, s in everything(store).items() for t, v, _ in s}
        assert kept == wanted
        cells = sum(v is not None for row in rows for v in row[1:])
        assert dry.new == report.new == report.samples == cells - report.repeated - report.overwritten
        assert bring(store, path, mapping).new == 0
        assert everything(store) and store.tags() if wanted else store.tags() == {}
    finally:
        store.close()
        lots.undo()


def test_an_import_that_was_cut_off_can_be_done_again(
    store: EmbeddedStore, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    rows = [f"2026-01-01T00:00:{s:02d}Z,{s},{-s}" for s in range(60)]
    path = write(tmp_path, "\n".join(["time,a,b", *rows[::-1], *rows[10:20]]))
    monkeypatch.setattr(_samples, "_CELLS_IN_LOT", 1)
    monkeypatch.setattr(_samples, "_FEWEST_ROWS", 7)
    append, calls = store.append, iter(range(100))

    def breaks(*frames: Frame) -> int:
        if next(calls) == 3:
            raise OSError("the disk is full")
        return append(*frames)

    monkeypatch.setattr(store, "append", breaks)
    with pytest.raises(OSError, match="full"):
        bring(store, path, read_mapping(SIMPLE))
    kept = len(everything(store)["lab.a.pv"])
    assert 0 < kept < 60
    report = bring(store, path, read_mapping(SIMPLE))
    assert report.new == 2 * (60 - kept)
    assert [float(v) for _, v, _ in everything(store)["lab.b.pv"]] == [-s for s in range(60)]
    assert sum(len(f) for _, f in store.frames()) == 120


def test_progress_rises_to_the_end(store: EmbeddedStore, tmp_path: Path) -> None:
    told: list[tuple[int, int]] = []
    path = write(
        tmp_path,
        "time,a,b\n" + "\n".join(f"2026-01-01T{h:02d}:{m:02d}:00Z,1,2" for h in range(24) for m in range(60)),
    )
    bring(store, path, read_mapping(SIMPLE), progress=lambda done, total: told.append((done, total)))
    assert told == sorted(told) and told[-1][0] == told[-1][1] == 2 * path.stat().st_size


@pytest.mark.parametrize("text", ["", "time,a,b\n"])
def test_a_file_without_data_is_told(store: EmbeddedStore, tmp_path: Path, text: str) -> None:
    with pytest.raises(WrongInput, match=r"empty|no data"):
        bring(store, write(tmp_path, text), read_mapping(SIMPLE))
    with pytest.raises(WrongInput, match="cannot be read"):
        bring(store, tmp_path / "missing.csv", read_mapping(SIMPLE))


def test_an_import_that_fails_leaves_the_old_rejects(
    store: EmbeddedStore, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    bring(store, write(tmp_path, "time,a,b\nx,1,2\n"), read_mapping(SIMPLE))
    old = (tmp_path / "panel.rejected.txt").read_text()
    path = write(tmp_path, "time,a,b\n2026-01-01T00:00:00Z,1,2\ny,1,2\nz,1,2\n")

    def full(*frames: Frame) -> int:
        raise OSError("the disk is full")

    monkeypatch.setattr(store, "append", full)
    with pytest.raises(OSError, match="full"):
        bring(store, path, read_mapping(SIMPLE))
    assert (tmp_path / "panel.rejected.txt").read_text() == old
    assert not list(tmp_path.glob("*.part"))


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (('tag = "lab.a.pv"\nunit = "1"', 'tag = "lab.a.pv"'), "the unit of 'a'"),
        (('name = "a"', 'name = "c"'), "no column 'c'"),
        (('name = "a"', "number = 9"), "no number 9"),
        (('"lab.a.pv"\nunit = "1"', '"filter.inlet.pressure.pv"\nunit = "bar"'), "gauge or absolute"),
        (('"lab.a.pv"\nunit = "1"', '"filter.inlet.pressure.pv"\nunit = "bar(a)"'), "never mixed"),
        (('"lab.a.pv"\nunit = "1"', '"pump.inlet.pressure.sp"\nunit = "psia"'), "never mixed"),
        (('"lab.a.pv"\nunit = "1"', '"filter.inlet.pressure.pv"\nunit = "Cel"'), "do not measure the same"),
        (('"lab.a.pv"\nunit = "1"', '"lab.a.pressure.pv"\nunit = "bar"'), "gauge or absolute"),
        (("lab.b.pv", "lab.a.pv"), "2 columns"),
        (('["time"]', '["when"]'), "no column 'when'"),
    ],
)
def test_a_mapping_that_does_not_fit_is_refused_with_its_line(
    store: EmbeddedStore, tmp_path: Path, change: tuple[str, str], said: str
) -> None:
    path = write(tmp_path, "time,a,b\n2026-01-01T00:00:00Z,1,2\n")
    text = SIMPLE.replace(*change)
    assert text != SIMPLE
    with pytest.raises(MappingWrong, match=said) as caught:
        bring(store, path, read_mapping(text))
    assert caught.value.faults[0].line > 1
    assert store.tags() == {}


def test_a_unit_in_the_header_that_contradicts_is_refused(store: EmbeddedStore, tmp_path: Path) -> None:
    path = write(tmp_path, "time,a [bar],b\n2026-01-01T00:00:00Z,1,2\n")
    with pytest.raises(MappingWrong, match="the file says bar and the mapping 1"):
        bring(store, path, read_mapping(SIMPLE))


MESH = """
[time]
columns = ["time"]
format = "iso"
zone = "UTC"
[[column]]
name = "COLUMN"
tag = "lab.opening.pv"
UNIT
"""


@pytest.mark.parametrize(
    ("heading", "column", "unit", "taken"),
    [
        ("Screen [mesh]", "Screen [mesh]", 'unit = "um"', False),
        ("Screen mesh", "Screen mesh", 'unit = "um"', False),
        ("Screen mesh", "Screen mesh", "", False),
        ("Screen", "Screen", 'unit = "mesh"', False),
        ("Mesh opening [µm]", "Mesh opening", "", True),
        ("Screen mesh", "Screen mesh", 'unit = "1"', True),
    ],
)
def test_a_mesh_column_is_no_number_of_micrometres(
    store: EmbeddedStore, tmp_path: Path, heading: str, column: str, unit: str, taken: bool
) -> None:
    path = write(tmp_path, f"time,{heading}\n2026-01-01T00:00:00Z,80\n", "utf-8")
    text = MESH.replace("COLUMN", column).replace("UNIT", unit)
    if taken:
        assert bring(store, path, read_mapping(text)).new == 1
        assert store.tags()["lab.opening.pv"].unit == ("um" if "µm" in heading else "1")
        return
    with pytest.raises(MappingWrong, match="never turned into micrometres"):
        bring(store, path, read_mapping(text))
    assert store.tags() == {}


def test_a_mesh_number_in_a_cell_is_listed_as_what_it_is(store: EmbeddedStore, tmp_path: Path) -> None:
    path = write(tmp_path, "time,Opening [um]\n2026-01-01T00:00:00Z,80 mesh\n2026-01-01T00:00:01Z,180\n")
    report = bring(store, path, read_mapping(MESH.replace("COLUMN", "Opening").replace("UNIT", "")))
    assert [(r.line, "mesh is text" in r.reason) for r in report.rejects] == [(2, True)]
    assert report.new == 1


PRESSURE = """
[time]
columns = ["time"]
format = "iso"
zone = "UTC"
[[column]]
name = "p"
tag = "filter.inlet.pressure.pv"
"""


def test_absolute_becomes_gauge_with_the_airs_pressure_alone(store: EmbeddedStore, tmp_path: Path) -> None:
    path = write(tmp_path, "time,p [bara]\n2026-01-01T00:00:00Z,101.013\n")
    with pytest.raises(MappingWrong, match=r"never mixed.*state the pressure of the air"):
        bring(store, path, read_mapping(PRESSURE))
    for air, said in (("1013 mm", "do not measure the same"), ("1.013 mbar", "no pressure of the air")):
        with pytest.raises(MappingWrong, match=said):
            read_mapping(PRESSURE + f'ambient = "{air}"')
    bring(store, path, read_mapping(PRESSURE + 'ambient = "1013 mbar"'))
    assert float(everything(store)[INLET][0][1]) == pytest.approx(100.0, rel=1e-12)


@pytest.mark.parametrize(
    ("written", "plain", "bar"),
    [
        ("barg", "bar", 100.0),
        ("bar(g)", "bar", 100.0),
        ("bar (g)", "bar", 100.0),
        ("bar ü", "bar", 100.0),
        ("psig", "psi", 6.89475729),
        ("psi gauge", "psi", 6.89475729),
        ("kPa(g)", "kPa", 1.0),
    ],
)
def test_a_gauge_pressure_is_understood_however_the_header_writes_it(
    store: EmbeddedStore, tmp_path: Path, written: str, plain: str, bar: float
) -> None:
    bring(
        store,
        write(tmp_path, f"time,p [{written}]\n2026-01-01T00:00:00Z,100\n", "utf-8"),
        read_mapping(PRESSURE),
    )
    assert float(everything(store)[INLET][0][1]) == pytest.approx(bar)
    unsaid = write(tmp_path, f"time,p [{plain}]\n2026-01-01T00:00:00Z,100\n")
    with pytest.raises(MappingWrong, match="gauge or absolute"):
        bring(store, unsaid, read_mapping(PRESSURE))


HEAD_OF_LONG = "time\ttag\tvalue\tunit\tstatus\n"


@pytest.mark.parametrize("told", ["OK", "1"])
def test_a_panels_own_numbers_of_quality_are_no_status_codes(
    store: EmbeddedStore, tmp_path: Path, told: str
) -> None:
    mapping = LONG.replace('"filter.inlet.pressure.pv"', '"filter.inlet.pressure.pv"\nreference = "gauge"')
    plain = mapping.replace('[qualities]\nOK = "good"\nDOUBT = "uncertain"\nFAULT = "bad"\n', "")
    rows = f"1000\tP1\t5\tbar\t{told}\n2000\tP1\t6\tbar\t0x40940000\n3000\tP1\t7\tbar\t0\n"
    report = bring(store, write(tmp_path, HEAD_OF_LONG + rows), read_mapping(plain))
    assert [(r.line, r.reason) for r in report.rejects] == [
        (2, f"P1: the quality '{told}' is unknown: add it to [qualities]")
    ]
    assert [q for _, _, q in everything(store)[INLET]] == [0x40940000, 0]


def test_a_row_may_say_the_reference_that_the_mapping_does_not(store: EmbeddedStore, tmp_path: Path) -> None:
    rows = "1000\tP1\t5\tbar(g)\tOK\n2000\tP1\t6\tbar\tOK\n3000\tP1\t7\tbara\tOK\n"
    report = bring(store, write(tmp_path, HEAD_OF_LONG + rows), read_mapping(LONG))
    assert [r.line for r in report.rejects] == [3, 4]
    assert "does not say whether it is gauge" in report.rejects[0].reason
    assert "never mixed" in report.rejects[1].reason
    assert [v for _, v, _ in everything(store)[INLET]] == ["5.0"]


def test_a_difference_is_kept_as_one_and_never_as_a_temperature(store: EmbeddedStore, tmp_path: Path) -> None:
    path = write(tmp_path, "time,a [Δ°F],b [°C]\n2026-01-01T00:00:00Z,18,2\n", "utf-8")
    text = SIMPLE.replace('unit = "1"\n', "")
    head = text.partition("[[column]]")[0] + "[[column]]\n"
    bring(store, path, read_mapping(text))
    assert (store.tags()["lab.a.pv"].unit, store.tags()["lab.b.pv"].unit) == ("[degR]{diff}", "Cel")
    for column in ('name = "b"\ntag = "lab.a.pv"', 'name = "a"\ntag = "lab.b.pv"'):
        with pytest.raises(MappingWrong, match="a temperature and the other a difference"):
            bring(store, path, read_mapping(head + column))
    with pytest.raises(MappingWrong, match="a tag of its own"):
        bring(store, path, read_mapping(head + 'name = "b"\ntag = "lab.b.pv"\ndifference = true'))
    bring(store, path, read_mapping(head + 'name = "b"\ntag = "lab.c.pv"\ndifference = true'))
    assert store.tags()["lab.c.pv"].unit == "K{diff}"


def test_differences_of_temperature_convert_without_an_offset(store: EmbeddedStore, tmp_path: Path) -> None:
    store.register([Tag("lab.a.pv", "K")])
    mapping = SIMPLE.replace('unit = "1"', 'unit = "[degF]"\ndifference = true', 1)
    bring(store, write(tmp_path, "time,a,b\n2026-01-01T00:00:00Z,18,2\n"), read_mapping(mapping))
    assert float(everything(store)["lab.a.pv"][0][1]) == pytest.approx(10.0)


def test_a_hole_shorter_than_the_mapping_says_is_none(store: EmbeddedStore, tmp_path: Path) -> None:
    rows = [f"2026-01-01T00:00:{s:02d}Z,{s},{s}" for s in [*range(10), *range(40, 50)]]
    path = write(tmp_path, "\n".join(["time,a,b", *rows]) + "\n")
    report = bring(store, path, read_mapping(SIMPLE.replace("zone", 'gap = "1 min"\nzone')))
    assert (report.hole_count, report.samples) == (0, 40)
