from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from historian.errors import StoreReadOnly
from historian.frame import NS, concatenate
from historian.tags import Tag
from simulator import parquet_file
from simulator.parquet_file import SCENARIO_KEY, TAGS_KEY, events, write_parquet
from simulator.run import batch, labels, published_tags, truth
from simulator.scenarios.scenario import Lot, Note, Sample, Scenario, Step

T0_NS = 1_900_000_000 * NS


@pytest.fixture
def short(trial_day: Scenario) -> Scenario:
    """The trial day's first five minutes, for a truth that is quickly played."""
    return replace(trial_day, duration_s=300.0)


def test_the_file_holds_what_the_batch_gives(
    short: Scenario, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(parquet_file, "_ROWS_IN_GROUP", 10_000)
    path = tmp_path / "day.parquet"
    rows = write_parquet(path, short, T0_NS)
    tags = {t.path: replace(t, id=k) for k, t in enumerate(published_tags(short))}
    frames = list(batch(short, tags, T0_NS))
    file = pq.ParquetFile(path)
    assert rows == file.metadata.num_rows == sum(len(f) for f in frames)
    assert file.metadata.num_row_groups > 1
    assert {file.metadata.row_group(0).column(k).compression for k in range(4)} == {"ZSTD"}
    read = file.read()
    assert read.column_names == ["tag", "time", "value", "quality"]
    assert read.schema.field("time").type == pa.timestamp("ns", tz="UTC")
    written = concatenate(frames, arrival_ns=0)
    order = np.lexsort((read["time"].cast(pa.int64()).to_numpy(), _places(read, tags)))
    assert np.array_equal(_places(read, tags)[order], written.tag)
    assert np.array_equal(read["time"].cast(pa.int64()).to_numpy()[order], written.time_ns)
    assert np.array_equal(read["value"].to_numpy()[order], written.value, equal_nan=True)
    assert np.array_equal(read["quality"].to_numpy()[order], written.quality)


def _places(read: pa.Table, tags: dict[str, Tag]) -> np.ndarray:
    return np.array([tags[p].id for p in read["tag"].to_pylist()])


def test_the_file_says_what_its_tags_are(short: Scenario, tmp_path: Path) -> None:
    path = tmp_path / "day.parquet"
    write_parquet(path, short, T0_NS, 0, 60)
    metadata = pq.read_schema(path).metadata
    tags = [Tag.from_json(entry) for entry in json.loads(metadata[TAGS_KEY])]
    assert tags == published_tags(short)
    inlet = next(t for t in tags if t.path == "filter.inlet.pressure.pv")
    assert (inlet.unit, inlet.reference, inlet.simulated) == ("bar", "gauge", True)
    played = json.loads(metadata[SCENARIO_KEY])
    assert (played["name"], played["seed"], played["t0_ns"]) == (short.name, short.seed, T0_NS)


def test_truth_and_events_stand_beside_it(short: Scenario, tmp_path: Path) -> None:
    write_parquet(tmp_path / "day.parquet", short, T0_NS, 0, 60)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["day.events.json", "day.parquet", "day.truth.json"]
    told = json.loads((tmp_path / "day.truth.json").read_text(encoding="utf-8"))
    assert told == truth(short, T0_NS)
    found = json.loads((tmp_path / "day.events.json").read_text(encoding="utf-8"))
    assert found["labels"] == labels(short, T0_NS)
    first, *_ = found["acts"]
    assert first == {"time_ns": T0_NS, "do": "heating on"}
    assert len(found["acts"]) == len(short.steps)


def test_events_say_what_was_done_and_leave_out_what_was_not(short: Scenario) -> None:
    acts = (
        Step(5.0, "set", "doser.rate.sp", 0.0),
        Step(6.5, "lot change", lot=Lot(bale="8")),
        Step(7.0, "take out", place=3),
    )
    bag = Sample("F1", 8.0, "feed", ("moisture",), 900.0)
    note = Note(9.0, "operator", "plate 6 is slow")
    told = events(replace(short, steps=acts, samples=(bag,), notes=(note,)), T0_NS)
    assert told["acts"] == [
        {"time_ns": T0_NS + 5 * NS, "do": "set", "tag": "doser.rate.sp", "to": 0.0},
        {"time_ns": T0_NS + 6_500_000_000, "do": "lot change", "lot": {"bale": "8"}},
        {"time_ns": T0_NS + 7 * NS, "do": "take out", "place": 3},
    ]
    assert told["bags"] == [
        {
            "time_ns": T0_NS + 8 * NS,
            "bag": "F1",
            "place": "feed",
            "measures": ("moisture",),
            "results_ns": T0_NS + 900 * NS,
        }
    ]
    assert told["notes"] == [{"time_ns": T0_NS + 9 * NS, "role": "operator", "text": "plate 6 is slow"}]


def test_what_cannot_be_written_is_said_and_leaves_nothing(short: Scenario, tmp_path: Path) -> None:
    with pytest.raises(StoreReadOnly, match=r"nowhere/day\.parquet: cannot be written"):
        write_parquet(tmp_path / "nowhere" / "day.parquet", short, T0_NS, 0, 60)
    (tmp_path / "day.truth.json").mkdir()
    with pytest.raises(StoreReadOnly):
        write_parquet(tmp_path / "day.parquet", short, T0_NS, 0, 60)
    assert [p.name for p in tmp_path.iterdir()] == ["day.truth.json"]
