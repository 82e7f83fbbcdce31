"""Which messages an edge node sends, with which numbers, without a network."""

from __future__ import annotations

import math
from typing import Any

import pytest

from historian.errors import WrongInput
from historian.frame import NS
from historian.quality import GOOD, LAST_USABLE, NO_DATA, SENSOR_FAILURE
from simulator.published import Sample
from simulator.sparkplug.node import EdgeNode
from tests.support import sparkplug_wire as wire
from tests.support.few_tags import T0_NS, TAGS, sample


def told(node: EdgeNode, samples: list[Sample], **options: Any) -> list[tuple[str, wire.Payload]]:
    return [(m.topic, wire.payload(m.payload)) for m in node.data(samples, T0_NS, **options)]


def test_a_birth_defines_every_metric_even_without_a_value() -> None:
    node = EdgeNode("plant", "line-1", TAGS)
    node.death(T0_NS)
    node.remember([sample(0, 71.3), sample(1, 1.0)])
    births = [(m.topic, wire.payload(m.payload)) for m in node.births(T0_NS)]
    assert [topic for topic, _ in births] == [
        "spBv1.0/plant/NBIRTH/line-1",
        "spBv1.0/plant/DBIRTH/line-1/filter",
    ]
    own, filters = ({m.name: m for m in payload.metrics} for _, payload in births)
    assert own["Properties/Simulated"].value is True
    assert own["line/power/pv"].null and own["line/power/pv"].value is None
    assert own["line/power/pv"].properties["engUnit"] == (wire.STRING, "kW")
    pressure = filters["filter/inlet/pressure/pv"]
    assert (pressure.datatype, pressure.value, pressure.kind) == (wire.DOUBLE, 71.3, "double")
    assert pressure.properties == {"engUnit": (wire.STRING, "bar")}
    assert (filters["filter/wiper/state"].datatype, filters["filter/wiper/state"].value) == (wire.INT32, 1)
    text = filters["filter/wiper/state/text"]
    assert (text.datatype, text.value, text.kind) == (wire.STRING, "wiping", "string")
    assert filters["filter/wiper/park/state"].datatype == wire.BOOLEAN
    assert filters["filter/wiper/park/state"].null


def test_data_carry_quality_and_null_and_negative_numbers() -> None:
    node = EdgeNode("plant", "line-1", TAGS)
    ((_, payload),) = told(
        node,
        [
            sample(0, 71.3),
            sample(0, math.nan, NO_DATA),
            sample(0, 70.0, LAST_USABLE),
            sample(0, 1.0, SENSOR_FAILURE),
            sample(0, 2.0, 0x0000_0401),
        ],
    )
    quality = [m.properties.get("Quality") for m in payload.metrics]
    assert quality == [None, (wire.INT32, 0), (wire.INT32, 500), (wire.INT32, 0), (wire.INT32, 192)]
    assert [m.properties.get("StatusCode", (0, GOOD))[1] for m in payload.metrics] == [
        GOOD,
        NO_DATA,
        LAST_USABLE,
        SENSOR_FAILURE,
        0x401,
    ]
    assert [m.null for m in payload.metrics] == [None, True, None, None, None]
    ((_, payload),) = told(node, [sample(1, -2.0)], historical=True)
    assert [(m.value, m.historical) for m in payload.metrics] == [(-2, True), ("-2", True)]


def test_numbers_go_round_and_deaths_count_connections() -> None:
    node = EdgeNode("plant", "line-1", TAGS)
    deaths = [wire.payload(node.death(T0_NS).payload).metrics[0].value for _ in range(258)]
    assert deaths == [*range(256), 0, 1]
    births = [wire.payload(m.payload).seq for m in node.births(T0_NS)]
    seqs = [payload.seq for k in range(300) for _, payload in told(node, [sample(3, float(k))])]
    assert births + seqs == [k % 256 for k in range(302)]


def test_a_device_dies_with_its_source_and_is_born_again_while_the_node_lives() -> None:
    node = EdgeNode("plant", "line-1", TAGS)
    node.death(T0_NS)
    node.remember([sample(0, 71.3), sample(3, 55.0)])
    assert len(node.births(T0_NS)) == 2

    def minded(*away: str) -> list[tuple[str, wire.Payload]]:
        return [(m.topic, wire.payload(m.payload)) for m in node.mind(frozenset(away), T0_NS + NS)]

    assert minded("pelletizer", "line") == []
    ((topic, death),) = minded("filter")
    assert topic == "spBv1.0/plant/DDEATH/line-1/filter"
    assert death == wire.Payload(timestamp=(T0_NS + NS) // 1_000_000, seq=2)
    assert minded("filter") == []
    assert node.dead(sample(0, 1.0)) and not node.dead(sample(3, 1.0))
    command = wire.rebirth_command("Device Control/Rebirth")
    assert node.answer("spBv1.0/plant/DCMD/line-1/filter", command, T0_NS) == []
    assert [m.topic for m in node.births(T0_NS)] == ["spBv1.0/plant/NBIRTH/line-1"]
    ((topic, birth),) = minded()
    assert (topic, birth.seq) == ("spBv1.0/plant/DBIRTH/line-1/filter", 1)
    assert {m.name: m.value for m in birth.metrics}["filter/inlet/pressure/pv"] == 71.3
    assert not node.dead(sample(0, 1.0))


def test_many_samples_are_cut_into_messages_in_order() -> None:
    node = EdgeNode("plant", "line-1", TAGS)
    samples = [sample(k % 4, float(k % 2), time_ns=T0_NS + k * NS) for k in range(1300)]
    messages = told(node, samples, historical=True)
    for place in ("NDATA/line-1", "DDATA/line-1/filter"):
        times = [m.timestamp for topic, p in messages if topic.endswith(place) for m in p.metrics]
        assert times == sorted(times, key=lambda t: t or 0)
    # The words of the wiper's state come beside its number.
    assert sum(len(p.metrics) for _, p in messages) == 1300 + 325


def test_only_a_rebirth_command_to_this_node_or_its_device_asks_for_a_birth() -> None:
    node = EdgeNode("plant", "line-1", TAGS)
    node.death(T0_NS)
    command, device_command = wire.rebirth_command(), wire.rebirth_command("Device Control/Rebirth")

    def born(topic: str, body: bytes) -> list[str]:
        return [
            m.topic.removeprefix("spBv1.0/plant/") for m in node.answer(f"spBv1.0/plant/{topic}", body, T0_NS)
        ]

    assert born("NCMD/line-1", command) == ["NBIRTH/line-1", "DBIRTH/line-1/filter"]
    assert born("DCMD/line-1/filter", device_command) == ["DBIRTH/line-1/filter"]
    assert born("NCMD/line-2", command) == []
    assert born("NCMD/line-1", command[:-1] + b"\0") == []
    assert born("NCMD/line-1", device_command) == []
    assert born("DCMD/line-1/filter", command) == []
    assert born("DCMD/line-1/doser", device_command) == []
    assert born("NCMD/line-1", b"\xff\xff") == []


@pytest.mark.parametrize(("group", "name"), [("", "a"), ("a", ""), ("a/b", "c"), ("a", "b+"), ("#", "a")])
def test_an_id_that_cannot_stand_in_a_topic_is_refused(group: str, name: str) -> None:
    with pytest.raises(WrongInput, match=r"without \+, / and #"):
        EdgeNode(group, name, TAGS)
