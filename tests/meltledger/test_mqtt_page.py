"""The page about MQTT shows files and settings that work, and payloads that are read as it says."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from collector.complaints import Complaints
from collector.json.reader import COMPLAINTS, JsonReader
from collector.json.shape import JsonShape
from meltledger.config import load
from meltledger.linefile import MqttJsonSection
from tests.support.mosquitto import Mosquitto

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs" / "mqtt.md").read_text(encoding="utf-8")
FILES = re.findall(r"```toml\n(.+?)```", PAGE, flags=re.DOTALL)
ROWS = re.findall(r"^\| `([\[{].+?)` \| (`each.+?) \|$", PAGE, flags=re.MULTILINE)


@pytest.mark.parametrize("text", FILES)
def test_a_file_of_the_page_is_a_good_one(text: str, tmp_path: Path) -> None:
    (tmp_path / "line.toml").write_text(text, encoding="utf-8")
    (section,) = load(tmp_path / "line.toml").file.source
    assert isinstance(section, MqttJsonSection)


def test_the_first_file_reads_the_message_beside_it(tmp_path: Path) -> None:
    (tmp_path / "line.toml").write_text(FILES[0], encoding="utf-8")
    (section,) = load(tmp_path / "line.toml").file.source
    assert isinstance(section, MqttJsonSection)
    topic, body, name = re.findall(r"# (plant\S+) +(\{.+\})\n.+# (\S+)\n", FILES[0])[0]
    assert samples(section.message[0].shape(), topic, body, name) == [(0, 71.3, 1_790_000_000_123_000_000)]


def test_every_batch_of_the_table_is_read_as_it_says() -> None:
    assert len(ROWS) == 4
    for body, keys in ROWS:
        said = dict(re.findall(r"`(\w+) = (.+?)`", keys))
        shape = JsonShape("p", **{k: as_given(v) for k, v in said.items()}, **format_of(body))  # type: ignore[arg-type]
        whole = re.sub(r", …", "", body).replace('"T1": …', '"T1": null').replace(', "T1": null', "")
        found = samples(shape, "p", whole, "P1", "T1")
        assert found[0][:2] == (0, 71.3) and found[0][2] > 1_789_000_000 * 10**9, body


def as_given(text: str) -> object:
    given = json.loads(text)
    return tuple(given) if isinstance(given, list) else given


def format_of(body: str) -> dict[str, str]:
    return {} if "Z" in body else {"time_format": "ms"}


def samples(shape: JsonShape, topic: str, body: str, *names: str) -> list[tuple[int, float, int]]:
    complaints = Complaints("plc", COMPLAINTS)
    reader = JsonReader([shape], {name: n for n, name in enumerate(names)}, {}, complaints)
    reader.read(topic, body.encode(), None)
    assert complaints.total == 0, complaints.due(0)
    found: list[tuple[int, float, int]] = []
    for block in reader.take():
        times = block.time_ns if isinstance(block.time_ns, list) else [block.time_ns] * len(block)
        found += [(int(a), float(v), t) for a, v, t in zip(block.at, block.raw, times, strict=True)]  # type: ignore[arg-type]
    return found


@pytest.mark.broker
def test_a_broker_takes_every_setting_that_the_page_names(tmp_path: Path) -> None:
    (table,) = re.findall(r"\| setting \| why \|\n\|---\|---\|\n(.+?)\n\n", PAGE, flags=re.DOTALL)
    settings = re.findall(r"^\| `(.+?)` \|", table, flags=re.MULTILINE)
    deployed = (ROOT / "deploy" / "mosquitto.conf").read_text(encoding="utf-8").splitlines()
    assert len(settings) == 5 and set(settings) <= set(deployed)
    own = ("persistence", "listener", "allow_anonymous", "log_dest", "max_queued_messages")
    taken = [line for line in deployed if line and not line.startswith(("#", *own))]
    with Mosquitto(tmp_path / "broker", *taken):
        pass  # it listens: it has taken all of them
