"""The page about the archive says what is so: its code runs, and gives what the store gives."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from historian import NS, EmbeddedStore, Frame, Tag
from historian.embedded.upkeep import Upkeep
from historian.quality import NO_DATA
from historian.retention import Keep

PAGE = Path(__file__).parents[1] / "docs" / "archive-format.md"
T0 = 1_893_456_000 * NS
TAG = "filter.inlet.pressure.pv"
TAGS = [
    Tag(TAG, "bar"),
    Tag("filter.outlet.pressure.pv", "bar"),
    Tag("water.flow.pv", "m3/h"),
    Tag("filter.wiper.state", "1", codes={0: "parked", 1: "wiping"}),
]


def blocks() -> dict[str, list[str]]:
    """The page's Python by the heading above it."""
    found: dict[str, list[str]] = {}
    heading = ""
    for part in re.split(r"^(## .*)$", PAGE.read_text(encoding="utf-8"), flags=re.M):
        if part.startswith("## "):
            heading = part[3:]
        found.setdefault(heading, []).extend(re.findall(r"```python\n(.*?)```", part, flags=re.S))
    return found


def wiper(start_ns: int) -> Frame:
    """Eleven changes of state at times of their own, then nothing known."""
    times = [start_ns + k * 37 * NS + k * 1_001 for k in range(12)]
    values = [*(float(k % 2) for k in range(11)), np.nan]
    return Frame.of([4] * 12, times, values, [*[0] * 11, NO_DATA], arrival_ns=times[-1])


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Two days: on the second the pressure is no exact decimal any more; each has a gap; stamps in ns.

    The wiper tells its state when it changes; the last one of each day is bad.
    """
    folder = tmp_path_factory.mktemp("page")
    with closing(EmbeddedStore.open(folder / "data" / "line-1")) as store:
        store.register(TAGS)
        for day in range(2):
            for second in range(600):
                time_ns = T0 + day * 86_400 * NS + second * NS + 123_456_789
                value = 80.5 + second / 10 if day == 0 else 80.0 + second / 7
                quality = NO_DATA if 100 <= second < 110 else 0
                row = [np.nan if quality else value, 20.0, 3.5]
                store.append(
                    Frame.of([1, 2, 3], [time_ns] * 3, row, [quality, 0, 0], arrival_ns=time_ns + 77)
                )
            store.append(wiper(T0 + day * 86_400 * NS))
        with closing(Upkeep.open(folder / "data" / "line-1", "line-1", Keep())) as upkeep:
            upkeep.step(T0 + 10 * 86_400 * NS, seal_all=True)
    yield folder


@pytest.fixture
def said(place: Path, monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """What the page's first code leaves behind."""
    monkeypatch.chdir(place)
    names: dict[str, Any] = {}
    exec("".join(blocks()["What to read"]), names)
    assert len(names["files"]["wide"]) == len(names["files"]["frames"]) == 2
    return names


@pytest.fixture
def kept(place: Path) -> tuple[list[int], list[float]]:
    """What the store holds of the tag that has a value."""
    with closing(EmbeddedStore.open(place / "data" / "line-1", mode="read")) as store:
        series = store.read([TAG], T0, T0 + 5 * 86_400 * NS)[TAG]
    good = series.quality == 0
    assert good.sum() == 1180
    return series.time_ns[good].tolist(), series.value[good].tolist()


def test_duckdb(said: dict[str, Any], kept: tuple[list[int], list[float]]) -> None:
    exec("".join(blocks()["DuckDB"]), said)
    assert [row[1] for row in said["reported"]] == [float(k % 2) for k in range(11)] * 2
    minutes = said["minutes"]
    assert sum(row[2] for row in minutes) == len(kept[0])
    assert sum(row[1] * row[2] for row in minutes) == pytest.approx(sum(kept[1]))


def test_duckdb_tells_arrivals(said: dict[str, Any], kept: tuple[list[int], list[float]]) -> None:
    exec("".join(blocks()["DuckDB"] + blocks()["When a sample arrived"]), said)
    arrivals = said["arrivals"]
    assert len(arrivals) == 1200
    assert [row[1] for row in arrivals if row[1] is not None] == pytest.approx(kept[1])
    assert all((row[2] - row[0]).total_seconds() < 1e-5 for row in arrivals)


def test_pandas(said: dict[str, Any], kept: tuple[list[int], list[float]]) -> None:
    exec("".join(blocks()["pandas"]), said)
    series = said["series"].dropna().sort_index()
    assert series.tolist() == kept[1]
    assert [int(t.value) // 1000 for t in series.index] == [t // 1000 for t in kept[0]]


def test_polars(said: dict[str, Any], kept: tuple[list[int], list[float]]) -> None:
    exec("".join(blocks()["Polars"]), said)
    frame = said["frame"].sort("time")
    assert frame[TAG].to_list() == kept[1]
    micros = frame["time"].cast(int) if frame["time"].dtype == int else frame["time"].dt.timestamp("us")
    assert micros.to_list() == [t // 1000 for t in kept[0]]


def test_rollups(said: dict[str, Any], kept: tuple[list[int], list[float]]) -> None:
    exec("".join(blocks()["DuckDB"] + blocks()["Rollups"]), said)
    means = said["means"]
    assert [row[0] for row in means] == [row[0] for row in said["minutes"]]
    assert [row[1] for row in means] == pytest.approx([row[1] for row in said["minutes"]])
    assert sum(row[4] for row in means) == 1200 and sum(row[5] for row in means) == 20
    assert max(row[3] for row in means) == max(kept[1])


def test_a_tag_has_another_type_on_another_day_as_the_page_says(said: dict[str, Any]) -> None:
    import pyarrow.parquet as pq

    types = {str(pq.read_schema(f).field(TAG).type) for f in said["files"]["wide"]}
    assert len(types) == 2 and any(t.startswith("decimal") for t in types)
    names = pq.read_schema(said["files"]["wide"][0]).names
    assert names[:2] == ["time", "seq"] and names[-1] == "time#ns"
