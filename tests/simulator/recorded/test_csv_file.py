"""Recordings as CSV: wide and long, units, qualities, gaps, and what cannot be read."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from historian.errors import WrongInput
from historian.frame import NS
from historian.quality import BAD, GOOD, LAST_USABLE, NO_DATA
from historian.tags import Tag, TagKind
from simulator.recorded.csv_file import read_csv, time_of
from tests.support.recordings import MINE, PRESSURE, T0_NS


def wide(tmp_path: Path, text: str) -> tuple[tuple[Tag, ...], list[tuple[int, int, float | None, int]]]:
    file = tmp_path / "wide.csv"
    file.write_text(text, encoding="utf-8")
    tags, samples = read_csv(file)
    columns = (samples.column, samples.time_ns, samples.value, samples.quality)
    return tags, [
        (c, t, None if math.isnan(v) else v, q)
        for c, t, v, q in zip(*(x.tolist() for x in columns), strict=True)
    ]


def test_a_wide_file_with_units_qualities_and_gaps(tmp_path: Path) -> None:
    tags, rows = wide(
        tmp_path,
        "time,filter.inlet.pressure.pv,filter.inlet.pressure.pv:quality,my.own.pv,filter.wiper.park.state\n"
        "unit,MPa,,mm/s,\n"
        "2023-11-14T22:13:20Z,7.125,,1,true\n"
        "\n"
        "2023-11-14T23:13:21.5+01:00,nan,,,false\n"
        "2023-11-14 22:13:22,7.0,0x40900000,2,\n"
        f"{T0_NS + 3 * NS},7.5,bad,3,\n",
    )
    assert [(t.path, t.unit, t.kind) for t in tags] == [
        (PRESSURE.path, "bar", TagKind.ANALOG),
        (MINE.path, "mm/s", TagKind.ANALOG),
        ("filter.wiper.park.state", "1", TagKind.BOOLEAN),
    ]
    assert rows == [
        (0, T0_NS, 71.25, GOOD),
        (1, T0_NS, 1.0, GOOD),
        (2, T0_NS, 1.0, GOOD),
        (0, T0_NS + 1_500_000_000, None, NO_DATA),
        (2, T0_NS + 1_500_000_000, 0.0, GOOD),
        (0, T0_NS + 2 * NS, 70.0, LAST_USABLE),
        (1, T0_NS + 2 * NS, 2.0, GOOD),
        (0, T0_NS + 3 * NS, 75.0, BAD),
        (1, T0_NS + 3 * NS, 3.0, GOOD),
    ]


def test_a_wide_file_without_units_with_semicolons_and_decimal_commas(tmp_path: Path) -> None:
    tags, rows = wide(
        tmp_path, "\ufefft;filter.inlet.pressure.pv\n2023-11-14T22:13:21Z;71,5\n2023-11-14T22:13:20Z;71\n"
    )
    assert [t.unit for t in tags] == ["bar"]
    assert rows == [(0, T0_NS, 71.0, GOOD), (0, T0_NS + NS, 71.5, GOOD)]


def test_a_long_file_with_units(tmp_path: Path) -> None:
    tags, rows = wide(
        tmp_path,
        "time\ttag\tvalue\tunit\n2023-11-14T22:13:20Z\tfilter.inlet.pressure.pv\t7.125\tMPa\n"
        "2023-11-14T22:13:20Z\tmy.own.pv\t1\tmm/s\n",
    )
    assert [t.unit for t in tags] == ["bar", "mm/s"]
    assert rows == [(0, T0_NS, 71.25, GOOD), (1, T0_NS, 1.0, GOOD)]


HEAD = "time,filter.inlet.pressure.pv\n"


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("", r":1: a heading"),
        ("time\n1\n", r":1: a heading"),
        (HEAD, "there is no sample"),
        (HEAD + "2023-11-14T22:13:20Z,\n", "there is no sample"),
        (HEAD + "yesterday,1\n", ":2: 'yesterday' is no time"),
        (HEAD + "\n1700000000,1\n", ":3: '1700000000' is too small"),
        (HEAD + "2023-11-14T22:13:20Z,much\n", ":2: 'much' is no number"),
        (HEAD + "unit,furlong\n", ":2: the unit 'furlong' is not known"),
        (HEAD + "unit,kg/h\n", ":2: .*do not measure the same"),
        ("time,Pressure 1\n2023-11-14T22:13:20Z,1\n", ":2: 'Pressure 1' is not a tag path"),
        ("time,a.b,a.b\n2023-11-14T22:13:20Z,1,2\n", "stands there twice"),
        ("time,a.b,a.c:quality\n2023-11-14T22:13:20Z,1,2\n", "no column a.c beside it"),
        ("time,a.b,a.b:quality\n2023-11-14T22:13:20Z,1,fine\n", ":2: 'fine' is no quality"),
        ("time,a.b,a.b:quality\n2023-11-14T22:13:20Z,1,-1\n", ":2: '-1' is no StatusCode"),
        ("tag,value\na.b,1\n", "a column 'time'"),
        ("time,tag,value\n2023-11-14T22:13:20Z,a.b\n", ":2: this row has fewer cells"),
        (
            "time,tag,value,unit\n1700000000000000000,a.b,1,bar\n1700000000000000000,a.b,1,MPa\n",
            ":3: a.b is in",
        ),
    ],
)
def test_a_file_that_cannot_be_played_is_refused_with_its_line(
    tmp_path: Path, text: str, reason: str
) -> None:
    with pytest.raises(WrongInput, match=reason):
        wide(tmp_path, text)


@given(st.integers(10_000_000 * NS, 4_000_000_000 * NS))
def test_times_are_read_to_the_nanosecond(time_ns: int) -> None:
    seconds, rest = divmod(time_ns, NS)
    text = np.datetime64(seconds, "s").astype(str)
    assert time_of(f"{text}.{rest:09d}Z") == time_ns
    assert time_of(str(time_ns)) == time_ns
