"""The data types of Sparkplug B and which of them are numbers.

Source: Sparkplug specification 3.0, 6.4.16 (data types).
"""

from __future__ import annotations

from enum import IntEnum
from typing import Final

import numpy as np


class DataType(IntEnum):
    """Number of a data type."""

    UNKNOWN = 0
    INT8 = 1
    INT16 = 2
    INT32 = 3
    INT64 = 4
    UINT8 = 5
    UINT16 = 6
    UINT32 = 7
    UINT64 = 8
    FLOAT = 9
    DOUBLE = 10
    BOOLEAN = 11
    STRING = 12
    DATETIME = 13
    TEXT = 14
    UUID = 15
    DATASET = 16
    BYTES = 17
    FILE = 18
    TEMPLATE = 19
    PROPERTYSET = 20
    PROPERTYSETLIST = 21
    INT8ARRAY = 22
    INT16ARRAY = 23
    INT32ARRAY = 24
    INT64ARRAY = 25
    UINT8ARRAY = 26
    UINT16ARRAY = 27
    UINT32ARRAY = 28
    UINT64ARRAY = 29
    FLOATARRAY = 30
    DOUBLEARRAY = 31
    BOOLEANARRAY = 32
    STRINGARRAY = 33
    DATETIMEARRAY = 34


class Kind(IntEnum):
    """Which field of a metric holds its value, by its number; 0 when none does."""

    NONE = 0
    INT = 10
    LONG = 11
    FLOAT = 12
    DOUBLE = 13
    BOOLEAN = 14
    STRING = 15
    BYTES = 16
    DATASET = 17
    TEMPLATE = 18
    EXTENSION = 19


TEXTS: Final = frozenset({DataType.STRING, DataType.TEXT, DataType.UUID})
"""Types whose value is a text."""

NUMBERS: Final = frozenset(range(DataType.INT8, DataType.BOOLEAN + 1)) | {DataType.DATETIME}
"""Types whose value is a number; a DateTime is its milliseconds since 1970."""

_SIGNED: Final = {DataType.INT8: 8, DataType.INT16: 16, DataType.INT32: 32, DataType.INT64: 64}
_UNSIGNED: Final = {
    DataType.UINT8: 8, DataType.UINT16: 16, DataType.UINT32: 32, DataType.UINT64: 64, DataType.DATETIME: 64,
}  # fmt: skip

BITS: Final = np.array([(_SIGNED | _UNSIGNED).get(DataType(t), 0) for t in DataType], np.uint64)
"""By type: how many bits an integer of it has; 0 when it is none."""

IS_SIGNED: Final = np.array([t in _SIGNED for t in DataType], np.bool_)
"""By type: whether it is an integer in two's complement."""

IS_FLOAT: Final = np.array([t in (DataType.FLOAT, DataType.DOUBLE) for t in DataType], np.bool_)
"""By type: whether it is a floating point number."""
