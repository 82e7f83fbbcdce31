"""A line's file says how a sensor is wired; what cannot be meant is told with its line."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from collector.reading.mapping import Reading
from historian.quality import GOOD, SENSOR_FAILURE
from meltledger.config import LineConfig, load
from meltledger.sources import source_mappings
from tests.meltledger.test_config import GOOD as FILE
from tests.meltledger.test_config import faults

Write = Callable[[str], LineConfig]
TAG = '"filter.inlet.pressure.pv" = { node = "nsu=urn:site:filter;s=P1", unit = "MPa" }'


def with_tag(keys: str, path: str = "filter.inlet.pressure.pv") -> str:
    return FILE.replace(TAG, f'"{path}" = {{ node = "nsu=urn:site:filter;s=P1", {keys} }}')


def reading(tmp_path: Path, keys: str, path: str = "filter.inlet.pressure.pv") -> Reading:
    file = tmp_path / "line.toml"
    file.write_text(with_tag(keys, path), encoding="utf-8")
    config = load(file)
    tags = {t.path: t for t in config.tags}
    mapping = next(m for s in source_mappings(config) for m in s.tags if m.path == path)
    return Reading(mapping, tags[path])


@pytest.mark.parametrize(
    ("keys", "raw"),
    [
        ('channel = "4-20 mA", range = ["0 bar", "250 bar"]', 12.0),
        ('channel = "4-20 mA", range = ["0 bar(g)", "25 MPa"], unit = "A"', 0.012),
        ('channel = "4-20 mA", range = ["0 bar", "250 bar"], unit = "%"', 50.0),
        ('channel = "4-20 mA", range = ["0 bar", "250 bar"], raw = [0, 27648]', 13824),
        ('channel = "0-10 V", range = ["0 bar", "250 bar"]', 5.0),
        ('channel = "0-20 mA", range = ["0 bar", "250 bar"], near_nothing = "2 %"', 10.0),
    ],
)
def test_half_the_signal_is_half_the_range(tmp_path: Path, keys: str, raw: float) -> None:
    value, quality = reading(tmp_path, keys).take(raw, GOOD)
    assert value == pytest.approx(125.0) and quality == GOOD


def test_a_broken_wire_is_no_pressure(tmp_path: Path) -> None:
    one = reading(tmp_path, 'channel = "4-20 mA", range = ["0 bar", "250 bar"]')
    assert one.take(0.0, GOOD)[1] == SENSOR_FAILURE


def test_a_tag_of_ones_own_is_in_the_ranges_unit(tmp_path: Path) -> None:
    own = reading(tmp_path, 'channel = "4-20 mA", range = ["0 m", "2 m"]', "own.level.pv")
    assert own.tag.unit == "m" and own.take(12.0, GOOD) == (1.0, GOOD)


def test_only_a_unit_that_nobody_said_is_the_sources_to_say(tmp_path: Path) -> None:
    assert not reading(tmp_path, 'unit = "MPa"').mapping.unit_assumed
    assert reading(tmp_path, "deadband = 0.1").mapping.unit_assumed
    assert reading(tmp_path, 'channel = "4-20 mA", range = ["0 bar", "1 bar"]').mapping.unit_assumed


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ('channel = "4-20 mA"', 'add range = ["0 bar", "250 bar"]'),
        ('range = ["0 bar", "250 bar"]', "belongs to a channel"),
        ("raw = [0, 27648]", "belongs to a channel"),
        ('channel = "4-20 mA", range = ["0", "250 bar"]', "do not measure the same"),
        ('channel = "4-20 mA", range = ["x bar", "250 bar"]', "not a number, a space and a unit"),
        ('channel = "4-20 mA", range = ["250 bar", "250 bar"]', "two different ends"),
        ('channel = "4-20 mA", range = ["nan bar", "250 bar"]', "finite"),
        ('channel = "4-20 mA", range = ["0 Cel", "250 Cel"]', "do not measure the same"),
        ('channel = "4-20 mA", range = ["0 bar(a)", "250 bar(a)"]', "never mixed"),
        ('channel = "4-20 mA", range = ["0 bar(a)", "250 bar(g)"]', "never mixed"),
        ('channel = "4-20 mA", range = ["0 bar", "250 bar"], raw = [5, 5]', "two different ends"),
        ('channel = "4-20 mA", range = ["0 bar", "250 bar"], unit = "bar"', "delivers mA"),
        ('channel = "0-10 V", range = ["0 bar", "250 bar"], unit = "mA"', "delivers V"),
    ],
)
def test_what_cannot_be_meant_is_told_at_its_line(tmp_path: Path, keys: str, said: str) -> None:
    file = tmp_path / "line.toml"
    file.write_text(with_tag(keys), encoding="utf-8")
    ((line, key, text),) = faults(file)
    assert line == 13 and key == 'source.1.tags."filter.inlet.pressure.pv"' and said in text


@pytest.mark.parametrize(
    ("keys", "key", "said"),
    [
        ('channel = "4-20"', "channel", "'4-20 mA'"),
        ('channel = "4-20 mA", range = ["0 bar"]', "range", "missing"),
        ('channel = "4-20 mA", range = ["0 bar", "9 bar"], raw = ["a", 1]', "raw", "number"),
        (
            'channel = "0-10 V", range = ["0 bar", "9 bar"], near_nothing = "60 %"',
            "near_nothing",
            "less than",
        ),
        (
            'channel = "0-10 V", range = ["0 bar", "9 bar"], near_nothing = 0.01',
            "near_nothing",
            "with its unit",
        ),
    ],
)
def test_what_is_not_well_formed_is_told_at_its_key(tmp_path: Path, keys: str, key: str, said: str) -> None:
    file = tmp_path / "line.toml"
    file.write_text(with_tag(keys), encoding="utf-8")
    told = faults(file)
    assert all(line == 13 and f".{key}" in where for line, where, _ in told)
    assert any(said in text for _, _, text in told), told
