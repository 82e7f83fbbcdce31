"""A ``[[source]]`` of kind ``mqtt-json``: read whole, built into a source, or refused where it stands."""

from __future__ import annotations

from pathlib import Path

import pytest

from collector import WallClock
from collector.mqtt.json_source import MqttJsonSource
from historian.tags import Tag
from meltledger.cli import main
from meltledger.config import LineConfig, load
from meltledger.errors import LineFileWrong
from meltledger.linefile import MqttJsonSection
from meltledger.sources import source_mappings, sources_of

FILE = """\
[line]
name = "pilot-2"
zone = "Europe/Madrid"

[store]
path = "data"

[[source]]
name = "gateway"
kind = "mqtt-json"
broker = "mqtts://broker.site.example:8884"
ca = "ca.pem"
user = "reader"
password_env = "MQTT_PASSWORD"
session = "2 d"

[[source.message]]
topic = "plant/+/+"
name = "{1}/{2}"
value = "/v"
time = "/t"
time_format = "ms"

[source.tags]
"filter.inlet.pressure.pv" = { name = "filter/p1", unit = "MPa" }
"line.power.pv" = { name = "line/power", codes = { off = 0 } }
"""


def read(tmp_path: Path, text: str) -> LineConfig:
    file = tmp_path / "line.toml"
    file.write_text(text, encoding="utf-8")
    return load(file)


def test_a_good_file_becomes_a_source(tmp_path: Path) -> None:
    config = read(tmp_path, FILE)
    (section,) = config.file.source
    assert isinstance(section, MqttJsonSection)
    assert (section.session, section.window, section.largest) == (172_800.0, 1000, 1_048_576)
    (mapping,) = source_mappings(config)
    assert [(t.address, t.unit) for t in mapping.tags] == [("filter/p1", "MPa"), ("line/power", "kW")]
    tags = {t.path: Tag(t.path, t.unit, t.kind, id=k) for k, t in enumerate(config.tags, 1)}
    (source,) = sources_of(config, tags, WallClock())
    assert isinstance(source, MqttJsonSource)
    assert source.status.name == "gateway" and source.counts.received == 0
    broker = source._broker
    assert (broker.host, broker.port, broker.tls, broker.session_s) == (
        "broker.site.example",
        8884,
        True,
        172_800,
    )
    assert broker.ca == tmp_path / "ca.pem" and "pilot-2" in broker.client_id


@pytest.mark.parametrize(
    ("old", "new", "key", "said"),
    [
        ("mqtts://", "http://", "source.1.broker", "not the address of a broker"),
        ("mqtts://", "mqtts://me:of-lines@", "source.1.broker", "no user or password in the address"),
        ("mqtts://", "mqtt://", "source.1.ca", "is for an encrypted connection"),
        ('user = "reader"\n', "", "source.1.password_env", "belongs to a user name"),
        ('"plant/+/+"', '"plant/#/x"', "message", "is not a topic filter"),
        ("{1}/{2}", "{1}/{3}", "message", "name has a part {3}"),
        ('value = "/v"', 'value = "v"', "message", "is not a JSON Pointer"),
        ('time_format = "ms"', 'time_format = "ms"\nzone = "UTC"', "message", "UTC by its nature"),
        ('"line/power"', '"filter/p1"', "line.power.pv", "is the name of 2 tags"),
        ("session =", "window = 0\nsession =", "source.1.window", "greater than or equal to 1"),
        ("session =", 'sesion =', "source.1.sesion", "session"),
    ],
)  # fmt: skip
def test_what_cannot_be_meant_is_told_where_it_stands(
    tmp_path: Path, old: str, new: str, key: str, said: str
) -> None:
    assert old in FILE
    with pytest.raises(LineFileWrong) as wrong:
        read(tmp_path, FILE.replace(old, new))
    assert any(key in f.key and said in f.text and f.line > 0 for f in wrong.value.faults), wrong.value.faults
    assert "of-lines" not in str(wrong.value)


def checked(tmp_path: Path, text: str, capsys: pytest.CaptureFixture[str]) -> str:
    (tmp_path / "line.toml").write_text(text, encoding="utf-8")
    with pytest.raises(SystemExit) as ended:
        main(["check", str(tmp_path / "line.toml")])
    assert ended.value.code == 0
    return capsys.readouterr().out


def test_check_says_what_the_broker_must_keep(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = checked(tmp_path, FILE, capsys)
    assert "max_inflight_messages 1000" in told and "with qos = 0" not in told
    told = checked(tmp_path, FILE.replace('time = "/t"', 'time = "/t"\nqos = 0'), capsys)
    assert "max_inflight_messages" not in told and "no broker keeps plant/+/+ while" in told
