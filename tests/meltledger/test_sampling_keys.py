"""Keys of a line's file that say how a machine is sampled, and what they become."""

from __future__ import annotations

from pathlib import Path

import pytest

from collector import WallClock
from collector.opcua.items import Asking, Sampling
from collector.opcua.source import OpcUaSource
from meltledger.config import load
from meltledger.sources import source_mappings, sources_of
from tests.meltledger.test_config import GOOD as FILE
from tests.meltledger.test_config import faults

ENDPOINT = 'endpoint = "opc.tcp://10.0.4.20:4840"'
TAG = 'node = "nsu=urn:site:filter;s=P1", unit = "MPa"'
PRESSURE = "filter.inlet.pressure.pv"


def asked(tmp_path: Path, keys: str = "", tag_keys: str = "") -> Asking:
    file = tmp_path / "line.toml"
    text = FILE.replace(ENDPOINT, f"{ENDPOINT}\n{keys}").replace(TAG, f"{TAG}{tag_keys}")
    file.write_text(text, encoding="utf-8")
    config = load(file)
    tags = {t.path: t for t in config.tags}
    (source,) = sources_of(config, tags, WallClock())
    assert isinstance(source, OpcUaSource)
    return source._asking


def test_what_is_asked_when_nothing_is_said(tmp_path: Path) -> None:
    assert asked(tmp_path) == Asking(250.0, Sampling(250.0, 0), {}, history=True)


def test_a_source_says_it_for_all_and_a_tag_for_itself(tmp_path: Path) -> None:
    said = asked(
        tmp_path,
        'sampling = "100 ms"\nqueue = 50\npublishing = "1 s"\nhistory = false',
        ', sampling = "2 s"',
    )
    assert (said.publishing_ms, said.history) == (1000.0, False)
    assert said.of("filter.dp.calc") == Sampling(100.0, 50)
    assert said.of(PRESSURE) == Sampling(2000.0, 50)
    assert asked(tmp_path, "", ", queue = 7").of(PRESSURE) == Sampling(250.0, 7)


def test_0_ms_asks_for_the_servers_fastest(tmp_path: Path) -> None:
    said = asked(tmp_path, "", ', sampling = "0 ms"')
    assert said.of(PRESSURE) == Sampling(0.0, 0)
    assert said.of("filter.dp.calc") == Sampling(250.0, 0)
    assert asked(tmp_path, 'sampling = "0 ms"').of(PRESSURE) == Sampling(0.0, 0)


@pytest.mark.parametrize(
    ("written", "change", "percent"),
    [("0.3", 0.3, 0.0), ('"2 %"', 0.0, 2.0), ("0", 0.0, 0.0)],
)
def test_a_dead_band_is_a_change_or_a_share(
    tmp_path: Path, written: str, change: float, percent: float
) -> None:
    file = tmp_path / "line.toml"
    file.write_text(FILE.replace(TAG, f"{TAG}, deadband = {written}"), encoding="utf-8")
    tag = next(t for m in source_mappings(load(file)) for t in m.tags if t.path == PRESSURE)
    assert (tag.deadband, tag.deadband_percent) == (change, percent)


@pytest.mark.parametrize(
    ("keys", "tag_keys", "said"),
    [
        ("sampling = 100", "", "with its unit"),
        ('sampling = "-1 ms"', "", "greater than or equal to 0"),
        ('publishing = "0 ms"', "", "greater than 0"),
        ("queue = 0", "", "greater than or equal to 1"),
        ("", ', deadband = "2 bar"', "share of its range"),
        ("", ", deadband = -1.0", "0 or more"),
        ("", ', deadband = "-2 %"', "0 or more"),
    ],
)
def test_what_cannot_be_meant_is_told(tmp_path: Path, keys: str, tag_keys: str, said: str) -> None:
    text = FILE.replace(ENDPOINT, f"{ENDPOINT}\n{keys}").replace(TAG, f"{TAG}{tag_keys}")
    file = tmp_path / "line.toml"
    file.write_text(text, encoding="utf-8")
    ((_, _, fault),) = faults(file)
    assert said in fault
