"""The benchmark of MQTT measures what it says: every sample sent is in our store, and the plain way hears all."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator

import numpy as np
import orjson
import pytest

from benchmarks import collector_mqtt, prepared
from benchmarks.answers import AnswersDiffer
from benchmarks.collector_mqtt import Load, broker, ours, plain, publishing
from benchmarks.mqtt_publisher import Published, packet, topic_and_body

pytestmark = pytest.mark.broker

FORMS = ("one", "object", "list")


@pytest.fixture(autouse=True)
def _build() -> Iterator[None]:
    there = prepared.BUILD.exists()
    prepared.BUILD.mkdir(exist_ok=True)
    yield
    if not there:
        shutil.rmtree(prepared.BUILD)


@pytest.mark.parametrize("form", FORMS)
def test_both_ways_take_all_that_is_published(form: str) -> None:
    load = Load(form, 300 if form == "one" else 30, 2_000.0, orjson.loads)  # type: ignore[arg-type]
    assert ours(load) > 0 and plain(load) > 0


def test_a_lost_sample_is_no_result() -> None:
    sent = [[1.0, 2.0], [3.0, 4.0]]
    collector_mqtt._check(sent, [np.array([1.0, 3.0]), np.array([2.0, 4.0])])
    with pytest.raises(AnswersDiffer):
        collector_mqtt._check(sent, [np.array([1.0, 3.0]), np.array([2.0])])


@pytest.mark.parametrize("form", FORMS)
def test_what_is_published_is_json_with_the_values_that_are_looked_for(form: str) -> None:
    what = Published(1, form, tuple(f"t{n}" for n in range(3)), 2, 1.0, seed=7)  # type: ignore[arg-type]
    values = what.values()
    topic, body = topic_and_body(what, 1, values[1], 1_790_000_000_123)
    said = json.loads(body)
    if form == "one":
        assert (topic, said) == ("bench/t1", {"t": 1_790_000_000_123, "v": values[1][0]})
    elif form == "object":
        assert said["values"] == dict(zip(what.names, values[1], strict=True))
    else:
        assert [item["v"] for item in said] == values[1]


def test_a_packet_has_its_length_before_it() -> None:
    # MQTT 3.1.1, 2.2.3: 321 bytes are the digits 65 and 2, the lower one first and marked as not the last.
    body = "x" * (321 - 2 - 3 - 2)
    made = packet("a/b", body, 0x0102)
    assert made[:3] == bytes([0x32, 65 | 0x80, 2]) and made[3:] == b"\x00\x03a/b\x01\x02" + body.encode()


def test_a_publisher_that_is_started_ends() -> None:
    with broker() as port, publishing(Load("one", 5, 100.0, json.loads), port) as what:
        assert len(what.values()) == 5
