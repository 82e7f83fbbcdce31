"""Recordings as Parquet: what may be missing or of another type, and what cannot be read."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from historian.errors import WrongInput
from historian.frame import NS
from historian.quality import GOOD, NO_DATA
from simulator.recorded.parquet_file import read_parquet
from simulator.recorded.playback import recording_at
from tests.support.recordings import MINE, PRESSURE, T0_NS, parquet_in


def test_a_parquet_file_may_say_less_and_in_other_types(tmp_path: Path) -> None:
    file = parquet_in(
        tmp_path / "rows.parquet",
        [(PRESSURE.path, T0_NS, 7.125, GOOD), (MINE.path, T0_NS, None, GOOD)],
        tag=None, path=pa.array([PRESSURE.path, MINE.path]),
        time=pa.array([T0_NS // 1_000_000] * 2, pa.timestamp("ms")),
        value=pa.array([7.125, None], pa.float32()),
        quality=None, unit=pa.array(["MPa", "mm/s"]),
    )  # fmt: skip
    tags, samples = read_parquet(file)
    assert [(t.path, t.unit) for t in tags] == [(PRESSURE.path, "bar"), (MINE.path, "mm/s")]
    assert samples.time_ns.tolist() == [T0_NS, T0_NS]
    assert samples.value[0] == 71.25 and math.isnan(samples.value[1])
    assert samples.quality.tolist() == [GOOD, NO_DATA]


TWO = [(PRESSURE.path, T0_NS, 1.0, GOOD), (PRESSURE.path, T0_NS + NS, 2.0, GOOD)]


@pytest.mark.parametrize(
    ("columns", "reason"),
    [
        ({"tag": None}, r"a column 'tag or path' is needed; there are time, value, quality"),
        ({"time": None}, "a column 'time_ns or time' is needed"),
        ({"value": None}, "a column 'value' is needed"),
        ({"tag": pa.array([PRESSURE.path, None])}, "row 2: there is no tag"),
        ({"time": pa.array([None, T0_NS])}, "row 1: there is no time"),
        ({"time": pa.array([0.5, 1.5])}, "the times are double; timestamps or whole nanoseconds"),
        ({"tag": pa.array(["a.b", "Pressure 1"])}, "Pressure 1: 'Pressure 1' is not a tag path"),
        ({"value": pa.array(["much", "more"])}, "a column holds something else"),
        ({"quality": pa.array([0, 2**32])}, "row 2: '4294967296' is no StatusCode"),
        ({"unit": pa.array(["bar", "MPa"])}, "row 2: filter.inlet.pressure.pv is in 'MPa' here and in 'bar'"),
        ({"unit": pa.array(["kg/h", "kg/h"])}, "filter.inlet.pressure.pv: .*do not measure the same"),
    ],
)
def test_a_parquet_file_that_cannot_be_played_is_refused_with_its_row(
    tmp_path: Path, columns: dict[str, Any], reason: str
) -> None:
    file = parquet_in(tmp_path / "rows.parquet", TWO, **columns)
    with pytest.raises(WrongInput, match=rf"rows\.parquet: {reason}"):
        read_parquet(file)


def test_an_empty_or_damaged_parquet_file_is_refused(tmp_path: Path) -> None:
    pq.write_table(
        pa.table({"tag": pa.array([], pa.string()), "time": [], "value": []}), tmp_path / "e.parquet"
    )
    with pytest.raises(WrongInput, match="there is no sample in it"):
        recording_at(tmp_path / "e.parquet")
    (tmp_path / "d.parquet").write_bytes(b"PAR1 not")
    with pytest.raises(WrongInput, match="not a Parquet file"):
        recording_at(tmp_path / "d.parquet")
