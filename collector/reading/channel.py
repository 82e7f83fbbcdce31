"""Analog channels: what a current or a voltage means, and when the wire or the sensor behind it is broken.

The signal kinds and their limits stand in ``KINDS``. A current from 4 to 20 mA has a live zero: without
current there is no sensor. From 3.8 to 20.5 mA it is a measured value, also where that is a little outside of
the nominal range; at 3.6 mA and below, or 21 mA and above, the transmitter reports that it failed; between
the two it is saturated, and its value is uncertain.
Source: NAMUR NE 43.

A signal without a live zero, 0-10 V or 0-20 mA, says the same for "nothing there" and for "not connected".
So near nothing it is uncertain, never zero. common practice, no source: the limits of those two.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from collector.reading.scaling import Scaling
from historian.errors import UnitMismatch, WrongInput
from historian.quality import SENSOR_NOT_ACCURATE
from historian.tags import Tag
from historian.units import conversion, ucum

NEAR_NOTHING: Final = 0.01
"""Part of the signal's span below which a signal without a live zero is uncertain."""


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of signal; every number in ``unit``.

    Attributes:
        unit: UCUM code of the signal.
        bottom, top: ends of the nominal range.
        low, high: a signal from low to high is a measured value; low is None without a live zero.
        fails_low, fails_high: at or beyond them the sensor or its wire has failed.
    """

    unit: str
    bottom: float
    top: float
    low: float | None
    high: float
    fails_low: float = -math.inf
    fails_high: float = math.inf


KINDS: Final[Mapping[str, Kind]] = {
    "4-20 mA": Kind("mA", 4.0, 20.0, 3.8, 20.5, 3.6, 21.0),
    "0-20 mA": Kind("mA", 0.0, 20.0, None, 20.5, fails_high=21.0),
    "0-10 V": Kind("V", 0.0, 10.0, None, 10.5),
}


@dataclass(frozen=True, slots=True)
class Channel:
    """How one sensor is wired.

    Attributes:
        kind: one of ``KINDS``.
        bottom, top: what is measured at the ends of the signal's nominal range; top may be the smaller one.
        unit: UCUM code of bottom and top.
        raw: numbers that the source delivers at those ends, when it delivers counts; else None.
        near_nothing: without a live zero, part of the signal's span below which it is uncertain.
    """

    kind: str
    bottom: float
    top: float
    unit: str
    raw: tuple[float, float] | None = None
    near_nothing: float = NEAR_NOTHING

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise WrongInput(f"'{self.kind[:40]}' is no kind of channel; known are {', '.join(KINDS)}")
        if self.bottom == self.top:
            raise WrongInput("the range of a channel has two different ends")
        if self.raw is not None and self.raw[0] == self.raw[1]:
            raise WrongInput("the raw numbers of a channel have two different ends")
        if not all(map(math.isfinite, (self.bottom, self.top, *(self.raw or ())))):
            raise WrongInput("the ends of a channel's range and raw numbers are finite numbers")
        if not 0.0 <= self.near_nothing < 0.5:
            raise WrongInput("near nothing is a part of the signal's span: 0 % to less than 50 %")


def channel_scaling(channel: Channel, unit: str, tag: Tag) -> Scaling:
    """From what the source delivers to the tag, with the channel's limits instead of the catalogue's.

    Args:
        channel: how the sensor is wired.
        unit: what the source delivers: the signal (mA, A, V, mV) or ``%`` of its nominal range; counts when
            the channel has raw numbers.
        tag: as the store knows it.

    Raises:
        UnknownUnit, UnitMismatch: the unit cannot be that signal, or the range's cannot become the tag's.

    Example:
        >>> from historian.catalogue import canonical_tag
        >>> s = channel_scaling(Channel("4-20 mA", 0, 300, "bar"), "mA", canonical_tag("die.pressure.pv"))
        >>> 12 * s.scale + s.offset, s.low, s.high
        (150.0, -3.75, 309.375)
    """
    kind = KINDS[channel.kind]
    first, last = _delivered_ends(channel, unit)
    to_tag, shift = conversion(channel.unit, tag.unit)
    bottom, top = channel.bottom * to_tag + shift, channel.top * to_tag + shift
    scale = (top - bottom) / (last - first)
    offset = bottom - first * scale

    def value_at(signal: float) -> float:
        """What the tag shows at a signal, by the same sum that every sample goes through."""
        delivered = first + (signal - kind.bottom) / (kind.top - kind.bottom) * (last - first)
        return float(f"{delivered:.12g}") * scale + offset

    nothing = kind.bottom + channel.near_nothing * (kind.top - kind.bottom)
    low, high = sorted((value_at(nothing if kind.low is None else kind.low), value_at(kind.high)))
    fails_low, fails_high = sorted((value_at(kind.fails_low), value_at(kind.fails_high)))
    return Scaling(scale, offset, low, high, fails_low, fails_high, SENSOR_NOT_ACCURATE)


def _delivered_ends(channel: Channel, unit: str) -> tuple[float, float]:
    """What the source delivers at the ends of the signal's nominal range."""
    kind = KINDS[channel.kind]
    if channel.raw is not None:
        return channel.raw
    if ucum(unit) == "%":
        return 0.0, 100.0
    try:
        scale, _ = conversion(kind.unit, unit)
    except UnitMismatch as error:
        raise UnitMismatch(
            f"a channel of {channel.kind} delivers {kind.unit}, % of its range, or counts with raw = [from, "
            f"to], not '{unit}'"
        ) from error
    return kind.bottom * scale, kind.top * scale
