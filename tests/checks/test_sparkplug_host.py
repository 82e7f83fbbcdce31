"""The collector's side of Sparkplug B against what others published: types, fields, another encoder, the standard.

Statements of the Sparkplug specification 3.0 are named by their ``tck-id``; their texts were looked up in the
requirements of its compatibility kit. The texts of the statements on STATE are those of drafts of 3.0 where they
name a ``bdSeq``; that the final edition has the time stamp instead is from memory.
"""

from __future__ import annotations

import csv
import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pysparkplug
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.sparkplug.decode import Decoder
from collector.sparkplug.metrics import NO_ALIAS, numbers
from collector.sparkplug.rebirth import rebirth_body, rebirth_topic
from collector.sparkplug.sparkplug_b_pb2 import Metric, Payload, Property, PropertySet
from collector.sparkplug.state import State, state_topic
from collector.sparkplug.types import DataType, Kind
from tests.support.sparkplug_wire import payload as read_by_hand

TABLE = Path(__file__).resolve().parents[2].parent / "shared" / "checks" / "sparkplug_types.csv"
NOW_NS = 1_790_000_000_123_456_789

RANGES: dict[DataType, st.SearchStrategy[Any]] = {
    DataType.INT8: st.integers(-(2**7), 2**7 - 1),
    DataType.INT16: st.integers(-(2**15), 2**15 - 1),
    DataType.INT32: st.integers(-(2**31), 2**31 - 1),
    DataType.INT64: st.integers(-(2**63), 2**63 - 1),
    DataType.UINT8: st.integers(0, 2**8 - 1),
    DataType.UINT16: st.integers(0, 2**16 - 1),
    DataType.UINT32: st.integers(0, 2**32 - 1),
    DataType.UINT64: st.integers(0, 2**64 - 1),
    DataType.FLOAT: st.floats(width=32, allow_nan=False),
    DataType.DOUBLE: st.floats(allow_nan=False),
    DataType.BOOLEAN: st.booleans(),
    DataType.DATETIME: st.datetimes(datetime(1970, 1, 2), datetime(2200, 1, 1), timezones=st.just(UTC)),
}


@pytest.mark.shared
@pytest.mark.skipif(not TABLE.exists(), reason="the folder of check values is not beside the project")
def test_types_have_the_published_numbers() -> None:
    # Sparkplug specification 3.0, chapter 6: table of data types.
    with TABLE.open(encoding="utf-8") as file:
        published = {row["name"].upper(): int(row["code"]) for row in csv.DictReader(file)}
    assert {t.name: int(t) for t in DataType} == published


def test_fields_have_the_published_numbers() -> None:
    # Sparkplug specification 3.0, 6.4.1, written down here by hand from its schema.
    expected = {
        Payload: {"timestamp": 1, "metrics": 2, "seq": 3, "uuid": 4, "body": 5},
        Metric: {
            "name": 1, "alias": 2, "timestamp": 3, "datatype": 4, "is_historical": 5, "is_transient": 6,
            "is_null": 7, "properties": 9, "int_value": 10, "long_value": 11, "float_value": 12,
            "double_value": 13, "boolean_value": 14, "string_value": 15, "bytes_value": 16,
            "dataset_value": 17, "template_value": 18, "extension_value": 19,
        },
        PropertySet: {"keys": 1, "values": 2},
        Property: {
            "type": 1, "is_null": 2, "int_value": 3, "long_value": 4, "float_value": 5, "double_value": 6,
            "boolean_value": 7, "string_value": 8,
        },
    }  # fmt: skip
    for message, fields in expected.items():
        assert {f.name: f.number for f in message.DESCRIPTOR.fields} == fields
    values = {f.name: f.number for f in Metric.DESCRIPTOR.oneofs_by_name["value"].fields}
    assert values == {f"{kind.name.lower()}_value": int(kind) for kind in Kind if kind is not Kind.NONE}


@given(st.data())
@settings(max_examples=60, deadline=None)
def test_another_encoder_s_births_and_data_are_read_as_it_meant_them(data: st.DataObject) -> None:
    # pysparkplug, an independent implementation of the payload.
    types = data.draw(st.lists(st.sampled_from(list(RANGES)), min_size=1, max_size=12))
    values = [data.draw(RANGES[t]) for t in types]
    metrics = [
        pysparkplug.Metric(1_790_000_000_000 + k, f"m{k}", pysparkplug.DataType(int(t)), v, alias=k)
        for k, (t, v) in enumerate(zip(types, values, strict=True))
    ]
    body = pysparkplug.DBirth(timestamp=1_790_000_000_000, seq=7, metrics=metrics).encode()
    heard = Decoder().decode(body)
    assert (heard.time_ms, heard.seq) == (1_790_000_000_000, 7)
    assert heard.metrics.datatype.tolist() == [int(t) for t in types]
    assert heard.metrics.name == {k: f"m{k}" for k in range(len(types))}
    assert heard.metrics.alias.tolist() == list(range(len(types)))
    found, wrong = numbers(heard.metrics, np.arange(len(types)), heard.metrics.datatype)
    assert not wrong.any()
    expected = [v.timestamp() * 1000 // 1 if isinstance(v, datetime) else float(v) for v in values]
    for value, meant, kind in zip(found.tolist(), expected, types, strict=True):
        # It cuts milliseconds off a floating point number of seconds, which may be one less.
        assert value == pytest.approx(meant, abs=1.0) if kind is DataType.DATETIME else value == meant


def test_a_rebirth_request_is_the_one_that_the_standard_describes() -> None:
    # tck-id-operational-behavior-data-commands-ncmd-rebirth-verb, -name, -value
    assert rebirth_topic("plant", "node 1") == "spBv1.0/plant/NCMD/node 1"
    said = read_by_hand(rebirth_body(NOW_NS))
    # tck-id-payloads-ncmd-timestamp, tck-id-payloads-ncmd-seq
    assert (said.timestamp, said.seq) == (1_790_000_000_123, None)
    (metric,) = said.metrics
    assert (metric.name, metric.datatype, metric.value) == ("Node Control/Rebirth", 11, True)
    assert metric.alias is None
    # Another implementation understands it.
    understood = pysparkplug.NCmd.decode(rebirth_body(NOW_NS))
    assert [(m.name, m.value) for m in understood.metrics] == [("Node Control/Rebirth", True)]


def test_the_state_is_the_one_that_the_standard_describes() -> None:
    # tck-id-host-topic-phid-birth-topic, tck-id-host-topic-phid-birth-payload
    assert state_topic("recorder") == "spBv1.0/STATE/recorder"
    assert json.loads(State(True, 5).body()) == {"online": True, "timestamp": 5}
    understood = pysparkplug.State.decode(State(False, 1_790_000_000_123).body())
    assert (understood.online, understood.timestamp) == (False, 1_790_000_000_123)


def test_no_alias_is_told_from_alias_0() -> None:
    # tck-id-payloads-alias-uniqueness: an unsigned 64-bit number, so 0 is one.
    assert Decoder().decode(b"\x12\x02\x10\x00").metrics.alias.tolist() == [0]
    assert Decoder().decode(b"\x12\x03\x0a\x01a").metrics.alias.tolist() == [NO_ALIAS]
