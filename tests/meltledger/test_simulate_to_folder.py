"""A scenario that is written out as a store: sealed, whole, with its truth beside it."""

from __future__ import annotations

import json
from contextlib import closing
from pathlib import Path

import pyarrow.parquet as pq
import pytest

from historian import NS, EmbeddedStore
from meltledger.cli import main
from simulator.recorded.parquet_file import read_parquet
from tests.support.cold_line import COLD_LINE

T0_NS = 1_893_456_000 * NS


def run(*arguments: str) -> None:
    with pytest.raises(SystemExit) as ended:
        main(list(arguments))
    assert ended.value.code == 0


def test_a_store_holds_what_a_file_holds_and_other_programs_can_read_it(tmp_path: Path) -> None:
    scenario, file, folder = tmp_path / "cold.toml", tmp_path / "cold.parquet", tmp_path / "cold"
    scenario.write_text(COLD_LINE, encoding="utf-8")
    for target in (file, folder):
        run("simulate", str(scenario), "--to", str(target), "--begin", str(T0_NS))
    tags, samples = read_parquet(file)
    with closing(EmbeddedStore.open(folder, mode="read")) as store:
        found = store.read(list(store.tags()), T0_NS - 10 * NS, T0_NS + 3600 * NS)
        assert sum(map(len, found.values())) == len(samples.time_ns) > 1000
        path = next(t.path for t in tags if t.path == "filter.plate.1.temp.pv")
        column = [t.path for t in tags].index(path)
        assert found[path].value.tolist() == samples.value[samples.column == column].tolist()
    rows = sum(pq.read_metadata(p).num_rows for p in (folder / "archive").rglob("*-wide-*.parquet"))
    rows += sum(pq.read_metadata(p).num_rows for p in (folder / "archive").rglob("*-long.parquet"))
    assert rows > 0
    assert json.loads((folder / "truth.json").read_text(encoding="utf-8")) == []
