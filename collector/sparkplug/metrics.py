"""What a message says of its metrics, as columns, and the numbers in them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from collector.sparkplug.types import BITS, IS_FLOAT, IS_SIGNED, DataType, Kind
from historian.frame import Qualities, Times, Values
from historian.quality import BAD, GOOD, LAST_USABLE, UNCERTAIN

NO_TIME: Final = -1
"""Stands for a time stamp that was not given, or that cannot be one."""

NO_ALIAS: Final = 2**64 - 1
"""Stands for an alias that was not given."""

LATEST_MS: Final = (2**63 - 1) // 1_000_000
"""The last time stamp that a time in nanoseconds can hold."""

Mask = NDArray[np.bool_]
# Members of an enumeration are slow to compare with columns.
_UNKNOWN, _BOOLEAN_TYPE = int(DataType.UNKNOWN), int(DataType.BOOLEAN)
_INT, _LONG, _FLOAT, _DOUBLE, _BOOLEAN = map(
    int, (Kind.INT, Kind.LONG, Kind.FLOAT, Kind.DOUBLE, Kind.BOOLEAN)
)
_ALL_ONES = np.uint64(2**64 - 1)
_INT_ONES = np.uint64(2**32 - 1)
_QUALITIES: Final[Mapping[int, int]] = {0: BAD, 192: GOOD, 500: LAST_USABLE}
_SEVERITY: Final = 0xC000_0000


@dataclass(frozen=True, slots=True)
class Metrics:
    """The metrics of one message in the order in which it holds them; every array has the shape (n,).

    Attributes:
        alias: ``NO_ALIAS`` where a name stands instead.
        time_ms: milliseconds since 1970; ``NO_TIME`` where none is given.
        kind: which field holds the value, see ``Kind``.
        whole: the value where that is an integer or a boolean, as its bits.
        number: the value where that is a floating point number.
        datatype: as this message says it; 0 where it does not.
        null: whether it is said that there is no value.
        historical: whether it is said not to be of now.
        quality: OPC UA StatusCode.
        name: place → name, where one is given.
        text: place → value, where that is a text.
        unit: place → unit, where the metric has the property ``engUnit``.
        odd: places whose quality was said in a way that is not known.
        plain: nothing but floating point numbers, of now and of good quality, each with its own time.
    """

    alias: NDArray[np.uint64]
    time_ms: Times
    kind: NDArray[np.uint8]
    whole: NDArray[np.uint64]
    number: Values
    datatype: NDArray[np.uint8]
    null: Mask
    historical: Mask
    quality: Qualities
    name: dict[int, str] = field(default_factory=dict)
    text: dict[int, str] = field(default_factory=dict)
    unit: dict[int, str] = field(default_factory=dict)
    odd: set[int] = field(default_factory=set)
    plain: bool = False

    def __len__(self) -> int:
        return len(self.alias)

    def with_content(self, time_ms: Times, whole: NDArray[np.uint64], number: Values) -> Metrics:
        """The same metrics with other times and values."""
        return Metrics(
            self.alias, time_ms, self.kind, whole, number, self.datatype, self.null, self.historical,
            self.quality, self.name, self.text, self.unit, self.odd, self.plain,
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Heard:
    """One message.

    Attributes:
        time_ms: when it was sent; ``NO_TIME`` where it does not say.
        seq: its number; None where it has none.
    """

    time_ms: int
    seq: int | None
    metrics: Metrics

    def number_of(self, name: str) -> int | None:
        """The whole number of the metric of that name; None when there is none."""
        for place, said in self.metrics.name.items():
            if said == name and int(self.metrics.kind[place]) in (_INT, _LONG):
                return int(self.metrics.whole[place])
        return None


def numbers(metrics: Metrics, which: NDArray[np.intp], types: NDArray[np.uint8]) -> tuple[Values, Mask]:
    """The values of some metrics as numbers, and where there is none of that type; NaN stands there.

    An integer stands in an unsigned field, as its two's complement where its type has a sign: of the type's
    own width, or of the field's, as some senders do. One that its type cannot hold is none.
    Source: Sparkplug specification 3.0, 6.4.16; the field's width: common practice, no source.

    Args:
        which: places of the metrics, shape (n,).
        types: as the birth says, shape (n,); where it says none, this message's counts.
    """
    kind, number = metrics.kind[which], metrics.number[which]
    is_float = (kind == _DOUBLE) | (kind == _FLOAT)
    if is_float.all() and IS_FLOAT[types].all():
        return number, np.zeros(len(which), np.bool_)
    types = np.where(types == _UNKNOWN, metrics.datatype[which], types)
    whole = metrics.whole[which]
    of_float = is_float & (IS_FLOAT[types] | (types == _UNKNOWN))
    of_bool = (kind == _BOOLEAN) & ((types == _BOOLEAN_TYPE) | (types == _UNKNOWN))
    is_whole, integers = _integers(whole, kind, types)
    value = np.where(of_float, number, np.where(of_bool, whole.astype(np.float64), integers))
    wrong = ~(of_float | of_bool | is_whole)
    return np.where(wrong, np.nan, value), wrong


def _integers(
    whole: NDArray[np.uint64], kind: NDArray[np.uint8], types: NDArray[np.uint8]
) -> tuple[Mask, Values]:
    """Which are integers that their type can hold, and all of them as numbers."""
    bits = BITS[types]
    # A shift by all 64 bits is not defined; of the others what lies above the width is looked at.
    above = np.where(bits == 64, np.uint64(0), whole >> np.minimum(bits, np.uint64(63)))
    ones = np.where(kind == _INT, _INT_ONES, _ALL_ONES) >> np.minimum(bits, np.uint64(63))
    up = np.uint64(64) - np.maximum(bits, np.uint64(1))
    signed = (whole << up).view(np.int64) >> up.astype(np.int64)
    extended = IS_SIGNED[types] & (above == ones) & (signed < 0)
    held = (bits > 0) & ((kind == _INT) | (kind == _LONG)) & ((above == 0) | extended)
    return held, np.where(IS_SIGNED[types], signed.astype(np.float64), whole.astype(np.float64))


def qualities_of(said: Mapping[str, int]) -> tuple[int, bool]:
    """The StatusCode of a metric with these integer properties, and whether they were understood.

    ``Quality`` is 0, 192 or 500: bad, good, stale. Beside it a node may tell the whole OPC UA StatusCode as
    ``StatusCode``, which is no part of the standard and counts where it is as bad.
    Source: Sparkplug specification 3.0, 6.4.8 (quality codes).
    """
    told = said.get("Quality", 192)
    quality = _QUALITIES.get(told, UNCERTAIN)
    status = said.get("StatusCode", 0)
    if status and status & _SEVERITY == quality & _SEVERITY:
        quality = status
    return quality, told in _QUALITIES
