"""What a quality is: an OPC UA StatusCode, kept whole beside each value.

Source: OPC 10000-4, 7.39 (StatusCode): the top two bits say good (00), uncertain (01) or bad (10);
the numbers are those of the OPC UA status-code table.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

QualityArray = NDArray[np.uint32]
Mask = NDArray[np.bool_]

GOOD: Final = 0x0000_0000
HELD: Final = 0x0000_0402
"""Good, and not measured: the value before still held. Info bits of a historian's value, interpolated.
Source: OPC 10000-4, 7.39 (HistorianBits)."""
UNCERTAIN: Final = 0x4000_0000
NO_COMMUNICATION_LAST_USABLE: Final = 0x408F_0000
LAST_USABLE: Final = 0x4090_0000
SUBSTITUTED: Final = 0x4091_0000
SENSOR_NOT_ACCURATE: Final = 0x4093_0000
RANGE_EXCEEDED: Final = 0x4094_0000
BAD: Final = 0x8000_0000
NO_COMMUNICATION: Final = 0x8031_0000
NODE_ID_UNKNOWN: Final = 0x8034_0000
SENSOR_FAILURE: Final = 0x808C_0000
OUT_OF_SERVICE: Final = 0x808D_0000
NO_DATA: Final = 0x809B_0000

_SEVERITY_MASK: Final = 0xC000_0000

# What a person reads; the name in brackets is the OPC UA symbol.
_WORDS: Final[dict[int, str]] = {
    GOOD: "good",
    UNCERTAIN: "uncertain",
    NO_COMMUNICATION_LAST_USABLE: "source silent, last value kept",
    LAST_USABLE: "stale, last value kept",
    SUBSTITUTED: "substituted",
    SENSOR_NOT_ACCURATE: "sensor frozen or not accurate",
    RANGE_EXCEEDED: "out of the sensor's range",
    BAD: "bad",
    NO_COMMUNICATION: "source lost",
    NODE_ID_UNKNOWN: "unknown at the source",
    SENSOR_FAILURE: "sensor broken",
    OUT_OF_SERVICE: "under maintenance",
    NO_DATA: "no data",
}


def is_good(quality: QualityArray) -> Mask:
    """Which samples are good: severity bits 00.

    Example:
        >>> is_good(np.array([GOOD, LAST_USABLE, NO_DATA], dtype=np.uint32)).tolist()
        [True, False, False]
    """
    mask: Mask = (quality & np.uint32(_SEVERITY_MASK)) == 0
    return mask


def is_uncertain(quality: QualityArray) -> Mask:
    """Which samples are uncertain: severity bits 01."""
    mask: Mask = (quality & np.uint32(_SEVERITY_MASK)) == UNCERTAIN
    return mask


def is_bad(quality: QualityArray) -> Mask:
    """Which samples are bad: severity bits 10 (11 is reserved and counts as bad too)."""
    mask: Mask = (quality & np.uint32(BAD)) != 0
    return mask


def in_words(quality: int) -> str:
    """A quality as a person reads it.

    Example:
        >>> in_words(0x809B0000)
        'no data'
    """
    code = quality & 0xFFFF_0000
    if code in _WORDS:
        return _WORDS[code]
    return _WORDS.get(code & _SEVERITY_MASK, "bad")
