"""The data types of Sparkplug metrics that the simulated line uses, by their numbers.

Source: Sparkplug specification 3.0, chapter 6 (data types).
"""

from __future__ import annotations

from enum import IntEnum


class DataType(IntEnum):
    """Number of a data type."""

    INT32 = 3
    INT64 = 4
    UINT32 = 7
    DOUBLE = 10
    BOOLEAN = 11
    STRING = 12
