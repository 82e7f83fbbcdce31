"""The numbers of Sparkplug's data types against the published table, and the fields against the wire."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from simulator.sparkplug.sparkplug_b_pb2 import Metric, Payload, Property, PropertySet
from simulator.sparkplug.types import DataType

TABLE = Path(__file__).resolve().parents[2].parent / "shared" / "checks" / "sparkplug_types.csv"


@pytest.mark.shared
@pytest.mark.skipif(not TABLE.exists(), reason="the folder of check values is not beside the project")
def test_types_have_the_published_numbers() -> None:
    # Sparkplug specification 3.0, chapter 6: table of data types.
    with TABLE.open(encoding="utf-8") as file:
        published = {row["name"].upper(): int(row["code"]) for row in csv.DictReader(file)}
    assert {t.name: int(t) for t in DataType}.items() <= published.items()


def test_fields_have_the_published_numbers() -> None:
    # Sparkplug specification 3.0, clause 6.4, written down here by hand from its schema.
    expected = {
        Payload: {"timestamp": 1, "metrics": 2, "seq": 3},
        Metric: {
            "name": 1, "alias": 2, "timestamp": 3, "datatype": 4, "is_historical": 5, "is_transient": 6,
            "is_null": 7, "properties": 9, "int_value": 10, "long_value": 11, "float_value": 12,
            "double_value": 13, "boolean_value": 14, "string_value": 15, "bytes_value": 16,
        },
        PropertySet: {"keys": 1, "values": 2},
        Property: {
            "type": 1, "is_null": 2, "int_value": 3, "long_value": 4, "float_value": 5, "double_value": 6,
            "boolean_value": 7, "string_value": 8,
        },
    }  # fmt: skip
    for message, fields in expected.items():
        assert {f.name: f.number for f in message.DESCRIPTOR.fields} == fields
