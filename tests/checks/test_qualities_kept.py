"""Every StatusCode comes out as it went in, all 32 bits, on each way through the historian.

Source of the codes: the OPC UA status-code table (56 codes); beside them any number of 32 bits, because a
source may send more than the table names, and sets information bits in the lower half (OPC 10000-4, 7.39).
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

from collector import Inbox, SourceMapping, TagMapping, tags_of
from collector.reading.mapping import Reading
from historian import NS, EmbeddedStore, Frame
from historian.aggregates import Aggregate
from historian.care import back_up, restore
from historian.catalogue import canonical_tag
from historian.embedded.upkeep import Upkeep
from historian.exchange import Window, export_csv, export_excel, export_parquet, import_csv, read_mapping
from historian.quality import BAD, GOOD, is_bad, is_good, is_uncertain
from historian.retention import Keep
from historian.rollups.columns import MINUTE_NS

CHECKS = Path(__file__).resolve().parents[2].parent / "shared" / "checks"
T = 1_893_456_000 * NS
PATH = "filter.inlet.pressure.pv"
SOURCE = SourceMapping("plc", "opc.tcp://x", False, (TagMapping(PATH, "i=1", "bar"),))
# One sample a minute.
STEP_NS = MINUTE_NS

BACK = f"""
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
name = "{PATH}"
tag = "{PATH}"
reference = "gauge"
"""


def drawn(seed: int = 20, count: int = 120) -> list[int]:
    """Codes of any 32 bits, and the most usual ones with information bits."""
    chance = np.random.default_rng(seed)
    some = chance.integers(0, 2**32, count).tolist()
    bits = [GOOD | 0x0480, 0x4094_0000 | 0x0500, 0x808C_0000 | 0x0401, 2**32 - 1, 0x3FFF_FFFF, 0x7FFF_FFFF]
    return [*some, *bits, GOOD, BAD]


def listed() -> list[int]:
    """The codes of the table, plain and with the bits for a limit and for an overflow."""
    with (CHECKS / "opcua_status_codes.csv").open(newline="", encoding="utf-8") as file:
        plain = [int(row["hex"], 16) for row in csv.DictReader(file)]
    return [code | bits for code in plain for bits in (0, 0x0500, 0x0480)]


def tables() -> Iterator[object]:
    yield pytest.param(drawn(), id="any bits")
    if CHECKS.is_dir():
        yield pytest.param(listed(), id="the table", marks=pytest.mark.shared)


def values(codes: list[int]) -> list[float]:
    return [math.nan if code & BAD else 100.0 + k % 7 for k, code in enumerate(codes)]


def frame(codes: list[int], *, number: int = 1, arrival_ns: int = T) -> Frame:
    times = [T + k * STEP_NS for k in range(len(codes))]
    return Frame.of([number] * len(codes), times, values(codes), codes, arrival_ns=arrival_ns)


def seal(folder: Path) -> None:
    upkeep = Upkeep.open(folder, "line-1", Keep())
    upkeep.step(T + 3 * 86_400 * NS, seal_all=True)
    upkeep.close()


@pytest.fixture(params=tables())
def codes(request: pytest.FixtureRequest) -> list[int]:
    found: list[int] = request.param
    return found


@pytest.fixture(params=["recent", "sealed"])
def store(request: pytest.FixtureRequest, codes: list[int], tmp_path: Path) -> Iterator[EmbeddedStore]:
    store = EmbeddedStore.open(tmp_path / "store")
    store.register([canonical_tag(PATH)])
    store.append(frame(codes))
    if request.param == "sealed":
        seal(tmp_path / "store")
    yield store
    store.close()


def window(codes: list[int]) -> Window:
    return Window((PATH,), T, T + len(codes) * STEP_NS)


def test_the_three_masks_part_them(codes: list[int]) -> None:
    quality = np.array(codes, dtype=np.uint32)
    parts = [is_good(quality), is_uncertain(quality), is_bad(quality)]
    assert np.sum(parts, axis=0).tolist() == [1] * len(codes)
    top = [min(code >> 30, 2) for code in codes]
    assert np.argmax(parts, axis=0).tolist() == top


def test_from_the_source_into_frames(codes: list[int]) -> None:
    reading = Reading(SOURCE.tags[0], canonical_tag(PATH))
    known = {t.path: type(t).from_json(t.to_json(), id=1) for t in tags_of([SOURCE])}
    inbox = Inbox([SOURCE], known)
    for k, code in enumerate(codes):
        value, quality = reading.take(100.0, code)
        assert math.isnan(value) == bool(code & BAD)
        inbox.put("plc", 1, T + k * NS, value, quality)
    (found,) = inbox.cut(T + len(codes) * NS - NS)
    assert found.quality.tolist() == codes


def test_read_and_told_again(store: EmbeddedStore, codes: list[int]) -> None:
    end_ns = T + len(codes) * STEP_NS
    assert store.read([PATH], T, end_ns)[PATH].quality.tolist() == codes
    pieces = store.blocks([PATH], T, end_ns, samples=7)
    assert [q for piece in pieces for q in piece[PATH].quality.tolist()] == codes
    ((_, whole),) = store.frames()
    assert whole.quality.tolist() == codes
    assert store.latest()[PATH].quality == codes[-1]
    # So few that a picture shows each.
    assert store.envelope(PATH, T, end_ns, len(codes)).quality.tolist() == codes


def test_rolled_up_and_aggregated(store: EmbeddedStore, codes: list[int]) -> None:
    end_ns = T + len(codes) * STEP_NS
    rows = store.rollup([PATH], T, end_ns, MINUTE_NS)
    assert rows.worst.tolist() == codes
    found = store.aggregate(PATH, T, end_ns, STEP_NS, Aggregate.WORST_QUALITY)
    # Part 13 gives the condition, without the bits of the one value.
    assert [int(r.value) for r in found] == [code & 0xFFFF_0000 for code in codes]


def test_exported_and_imported(store: EmbeddedStore, codes: list[int], tmp_path: Path) -> None:
    export_csv(store, tmp_path / "all.csv", window(codes))
    other = EmbeddedStore.open(tmp_path / "other")
    other.register([canonical_tag(PATH)])
    report = import_csv(other, tmp_path / "all.csv", read_mapping(BACK), now_ns=T)
    assert report.reject_count == 0
    assert other.read([PATH], T, T + len(codes) * STEP_NS)[PATH].quality.tolist() == codes
    other.close()
    export_parquet(store, tmp_path / "long.parquet", window(codes))
    assert pq.read_table(tmp_path / "long.parquet")["quality"].to_pylist() == codes
    export_parquet(store, tmp_path / "wide.parquet", window(codes), form="wide")
    assert pq.read_table(tmp_path / "wide.parquet")[f"{PATH}.quality"].to_pylist() == codes
    export_excel(store, tmp_path / "all.xlsx", window(codes))
    sheet = openpyxl.load_workbook(tmp_path / "all.xlsx")["quality"]
    told = [int(str(row[3]), 16) for row in sheet.iter_rows(min_row=2, values_only=True)]
    assert told == [code for code in codes if code >> 30]


def test_replaced_ones_are_on_record(store: EmbeddedStore, codes: list[int], tmp_path: Path) -> None:
    good = frame([GOOD] * len(codes), arrival_ns=T + NS)
    store.append(Frame(good.tag, good.time_ns, good.value + 50.0, good.quality, good.arrival_ns))
    end_ns = T + len(codes) * STEP_NS
    assert [m.quality for m in store.modified(PATH, T, end_ns)] == codes
    seal(tmp_path / "store")
    assert [m.quality for m in store.modified(PATH, T, end_ns)] == codes


def test_backed_up_and_restored(store: EmbeddedStore, codes: list[int], tmp_path: Path) -> None:
    back_up(tmp_path / "store", tmp_path / "copy.tar")
    restore(tmp_path / "copy.tar", tmp_path / "again")
    again = EmbeddedStore.open(tmp_path / "again", mode="read")
    assert again.read([PATH], T, T + len(codes) * STEP_NS)[PATH].quality.tolist() == codes
    again.close()


def test_in_the_files_that_other_programs_read(codes: list[int], tmp_path: Path) -> None:
    store = EmbeddedStore.open(tmp_path / "store")
    store.register([canonical_tag(PATH)])
    store.append(frame(codes))
    store.close()
    seal(tmp_path / "store")
    (file,) = (
        f
        for f in (tmp_path / "store" / "archive").rglob("*.parquet")
        if f"{PATH}#quality" in pq.read_schema(f).names or "quality" in pq.read_schema(f).names
    )
    table = pq.read_table(file, partitioning=None)
    name = "quality" if "quality" in table.column_names else f"{PATH}#quality"
    assert table.sort_by("time")[name].to_pylist() == codes
