"""A ``[[source]]`` of kind ``sparkplug``: read whole, built into a source, or refused where it stands."""

from __future__ import annotations

from pathlib import Path

import pytest

from collector import WallClock
from collector.mqtt.sparkplug_source import SparkplugSource
from historian.tags import Tag
from meltledger.config import LineConfig, load
from meltledger.errors import LineFileWrong
from meltledger.linefile import SparkplugSection
from meltledger.sources import source_mappings, sources_of

FILE = """\
[line]
name = "pilot-2"
zone = "Europe/Madrid"

[store]
path = "data"

[[source]]
name = "plant"
kind = "sparkplug"
broker = "mqtt://127.0.0.1"
group = "hall 2"
reorder = "500 ms"
texts = ["line-2/doser/Recipe"]

[source.tags]
"filter.inlet.pressure.pv" = { metric = "line-2/filter/Inlet/Pressure", unit = "MPa" }
"line.power.pv" = { metric = "line-2//Power" }
"""


def read(tmp_path: Path, text: str) -> LineConfig:
    file = tmp_path / "line.toml"
    file.write_text(text, encoding="utf-8")
    return load(file)


def test_a_good_file_becomes_a_source(tmp_path: Path) -> None:
    config = read(tmp_path, FILE)
    (section,) = config.file.source
    assert isinstance(section, SparkplugSection)
    assert (section.group, section.reorder, section.host_id) == ("hall 2", 0.5, None)
    (mapping,) = source_mappings(config)
    assert [(t.address, t.unit) for t in mapping.tags] == [
        ("line-2/filter/Inlet/Pressure", "MPa"),
        ("line-2//Power", "kW"),
    ]
    tags = {t.path: Tag(t.path, t.unit, t.kind, id=k) for k, t in enumerate(config.tags, 1)}
    (source,) = sources_of(config, tags, WallClock())
    assert isinstance(source, SparkplugSource)
    assert source.status.name == "plant" and source.counts.received == 0


@pytest.mark.parametrize(
    ("old", "new", "key", "said"),
    [
        ('"hall 2"', '"hall/2"', "source.1.group", "'hall/2': the group is a word without +, / and #"),
        ('"500 ms"', '"500"', "source.1.reorder", "do not measure the same thing"),
        ('"500 ms"', '"20 min"', "source.1.reorder", "less than or equal to 600"),
        ('group =', 'host_id = "a+b"\ngroup =', "source.1.host_id", "the host_id is a word"),
        ('group =', "largest = 5\ngroup =", "source.1.largest", "greater than or equal to 1024"),
        ('"line-2//Power"', '"Power"', 'line.power.pv".metric', "is not NODE/DEVICE/METRIC"),
        ('"line-2//Power"', '"line-2/#/Power"', 'line.power.pv".metric', "is not NODE/DEVICE/METRIC"),
        ('"line-2//Power"', '"line-2/filter/Inlet/Pressure"', "metric", "is the metric of 2 tags; keep one"),
        ('["line-2/doser/Recipe"]', '["line-2//Power"]', "texts", "is a tag as well"),
        ('["line-2/doser/Recipe"]', '["Recipe"]', "texts", "is not NODE/DEVICE/METRIC"),
        ('"mqtt://127.0.0.1"', '"mqtt://u:p@127.0.0.1"', "source.1.broker", "no user or password in the address"),
    ],
)  # fmt: skip
def test_each_fault_is_found_where_it_stands(tmp_path: Path, old: str, new: str, key: str, said: str) -> None:
    assert old in FILE
    with pytest.raises(LineFileWrong) as caught:
        read(tmp_path, FILE.replace(old, new, 1))
    text = FILE.replace(old, new, 1).splitlines()
    assert any(said in f.text for f in caught.value.faults), caught.value.faults
    fault = next(f for f in caught.value.faults if said in f.text)
    assert key in fault.key, fault
    assert new.split("\n", maxsplit=1)[0].strip('[]"') in text[fault.line - 1]
