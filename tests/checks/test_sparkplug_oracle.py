"""Our reading and writing of Sparkplug B against a library that others wrote: PyPI pysparkplug 0.3."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pysparkplug as oracle
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pysparkplug import DataType

from collector.sparkplug.decode import Decoder
from collector.sparkplug.metrics import NO_ALIAS, NO_TIME, Heard, numbers
from collector.sparkplug.rebirth import rebirth_body, rebirth_topic
from collector.sparkplug.state import State, state_topic
from collector.sparkplug.topic import read_topic

BUSY = settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])
"""A computer that is busy otherwise is no fault."""

_WIDTHS = {1: 8, 2: 16, 3: 32, 4: 64}
TEXTS = {DataType.STRING, DataType.TEXT, DataType.UUID}
OCTETS = {DataType.BYTES, DataType.FILE}
TYPES = [t for t in DataType if t is not DataType.UNKNOWN]


def value_of(datatype: DataType) -> st.SearchStrategy[Any]:
    """Values that a type can hold."""
    if datatype in _WIDTHS:
        most = 2 ** (_WIDTHS[datatype] - 1)
        return st.integers(-most, most - 1)
    if datatype - 4 in _WIDTHS:
        return st.integers(0, 2 ** _WIDTHS[datatype - 4] - 1)
    if datatype in TEXTS:
        return st.text(max_size=20)
    if datatype in OCTETS:
        return st.binary(max_size=20)
    return {
        DataType.FLOAT: st.floats(width=32),
        DataType.DOUBLE: st.floats(),
        DataType.BOOLEAN: st.booleans(),
        # Whole seconds: the library multiplies a floating point number of them.
        DataType.DATETIME: st.integers(0, 4_000_000_000).map(lambda s: datetime.fromtimestamp(s, UTC)),
    }[datatype]


TIMES = st.integers(0, 4_102_444_800_000)
METRICS = st.sampled_from(TYPES).flatmap(
    lambda datatype: st.builds(
        oracle.Metric,
        timestamp=st.none() | TIMES,
        name=st.none() | st.text(min_size=1, max_size=30),
        datatype=st.just(datatype),
        value=st.none() | value_of(datatype),
        alias=st.none() | st.integers(0, 2**63),
        is_historical=st.booleans(),
        is_transient=st.booleans(),
    )
)


@BUSY
@given(TIMES, st.integers(0, 255), st.lists(METRICS, max_size=20), st.booleans())
def test_what_the_library_writes_is_read_as_it_was_meant(
    time_ms: int, seq: int, metrics: list[oracle.Metric], typed: bool
) -> None:
    body = oracle.NData(time_ms, seq, metrics).encode(include_dtypes=typed)
    heard = Decoder().decode(body)
    assert (heard.time_ms, heard.seq) == (time_ms, seq)
    check(heard, metrics, typed=typed)


STEADY = st.lists(st.sampled_from([t for t in TYPES if t not in TEXTS | OCTETS]), min_size=8, max_size=20)
NOW = st.integers(1_790_000_000_000, 1_800_000_000_000)


@BUSY
@given(st.data(), STEADY)
def test_a_machine_that_says_the_same_metrics_again_and_again_is_read_every_time(
    data: st.DataObject, types: list[DataType]
) -> None:
    decoder = Decoder()
    for seq in range(4):
        metrics = [
            oracle.Metric(data.draw(NOW), None, t, data.draw(value_of(t)), alias=alias)
            for alias, t in enumerate(types)
        ]
        time_ms = data.draw(NOW)
        heard = decoder.decode(oracle.NData(time_ms, seq, metrics).encode())
        assert (heard.time_ms, heard.seq) == (time_ms, seq)
        check(heard, metrics, typed=False)


def check(heard: Heard, metrics: list[oracle.Metric], *, typed: bool) -> None:
    read = heard.metrics
    assert read.alias.tolist() == [NO_ALIAS if m.alias is None else m.alias for m in metrics]
    assert read.time_ms.tolist() == [NO_TIME if m.timestamp is None else m.timestamp for m in metrics]
    assert read.name == {place: m.name for place, m in enumerate(metrics) if m.name}
    assert read.historical.tolist() == [m.is_historical for m in metrics]
    assert read.null.tolist() == [m.value is None for m in metrics]
    assert read.datatype.tolist() == [int(m.datatype) if typed else 0 for m in metrics]
    assert read.text == {
        p: m.value for p, m in enumerate(metrics) if m.datatype in TEXTS and m.value is not None
    }
    types = np.array([m.datatype for m in metrics], np.uint8)
    values, wrong = numbers(read, np.arange(len(metrics)), types)
    for metric, value, is_none in zip(metrics, values.tolist(), wrong.tolist(), strict=True):
        expected = number(metric)
        assert is_none == (expected is None)
        assert expected is None or value == expected or (math.isnan(value) and math.isnan(expected))


def number(metric: oracle.Metric) -> float | None:
    """A metric's value as a number; None when it has none."""
    if metric.value is None or metric.datatype in TEXTS | OCTETS:
        return None
    if isinstance(metric.value, datetime):
        return metric.value.timestamp() * 1000
    return float(metric.value)  # type: ignore[arg-type]


@BUSY
@given(st.integers(0, 4_102_444_800_000))
def test_the_library_understands_the_only_command_that_we_send(time_ms: int) -> None:
    command = oracle.NCmd.decode(rebirth_body(time_ms * 1_000_000 + 999_999))
    (metric,) = command.metrics
    assert command.timestamp == metric.timestamp == time_ms
    assert (metric.name, metric.datatype, metric.value) == ("Node Control/Rebirth", DataType.BOOLEAN, True)
    assert metric.alias is None and not metric.is_null and not metric.is_historical


@pytest.mark.parametrize("online", [True, False])
def test_the_library_understands_our_state(online: bool) -> None:
    assert oracle.State.decode(State(online, 1_790_000_000_000).body()) == oracle.State(
        1_790_000_000_000, online
    )


def test_topics_are_those_of_the_library() -> None:
    kinds = oracle.MessageType
    assert rebirth_topic("g", "n1") == str(
        oracle.Topic(message_type=kinds.NCMD, group_id="g", edge_node_id="n1")
    )
    assert state_topic("recorder") == str(
        oracle.Topic(message_type=kinds.STATE, sparkplug_host_id="recorder")
    )
    for kind in (kinds.NBIRTH, kinds.NDATA, kinds.NDEATH, kinds.DBIRTH, kinds.DDATA, kinds.DDEATH):
        device = "dev" if kind.value.startswith("D") else ""
        more = {"device_id": device} if device else {}
        topic = read_topic(str(oracle.Topic(message_type=kind, group_id="g", edge_node_id="n1", **more)), "g")
        assert topic is not None
        assert (topic.verb.value, topic.node, topic.device) == (kind.value, "n1", device)
