"""The samples of one tag over a trial, with what is known of its sensor."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import nan

import numpy as np
from numpy.typing import ArrayLike, NDArray

NS = 1_000_000_000
HOLD_S = 10.0
STANDING_HOLD_S = 150.0
"""How long a sample speaks: a measured value, and a set-point, state or counter, which may be sent once a
minute only. common practice, no source."""
PAIRED_S = 1.0
# No sensor shows such a number; sums of squares of it would run over.
_MOST = 1e12
_STANDING_ENDINGS = (".sp", ".state", ".total")


@dataclass(frozen=True, slots=True)
class Calibration:
    """Standard uncertainties of a sensor, as the register of sensors gives them.

    Attributes:
        offset: source → what it shifts all values by, in the tag's unit. Sensors that were checked against
            one reference name it alike.
        gain: source → what it scales all values by, as a share.
    """

    offset: Mapping[str, float] = field(default_factory=dict)
    gain: Mapping[str, float] = field(default_factory=dict)

    def parts_at(self, value: float) -> dict[str, float]:
        """What each source brings to a value, in the tag's unit."""
        return {**self.offset, **self.gain_of(value)}

    def gain_of(self, amount: float) -> dict[str, float]:
        """What each source brings to a difference of two values: offsets cancel."""
        return {f"{source}, gain": share * amount for source, share in self.gain.items()}


@dataclass(frozen=True, slots=True)
class Trace:
    """The samples of one tag.

    Attributes:
        path: of the tag.
        time_ns: UTC nanoseconds, rising, shape (n,).
        value: NaN where it is bad or not known, shape (n,).
        hold_s: how long a sample speaks when no other follows; a longer pause is a gap.
        calibration: None when nothing is known of the sensor.
        behind: paths of the tags that it was made from.
    """

    path: str
    time_ns: NDArray[np.int64]
    value: NDArray[np.float64]
    hold_s: float = HOLD_S
    calibration: Calibration | None = None
    behind: tuple[str, ...] = ()

    @classmethod
    def of(
        cls,
        path: str,
        time_ns: ArrayLike,
        value: ArrayLike,
        calibration: Calibration | None = None,
        hold_s: float | None = None,
    ) -> Trace:
        """A trace from anything that numpy reads: sorted, of equal times the last, nothing beyond 1e12.

        Raises:
            ValueError: when times and values differ in number.
        """
        times = np.asarray(time_ns, dtype=np.int64).ravel()
        values = np.asarray(value, dtype=np.float64).ravel()
        if len(times) != len(values):
            raise ValueError(f"{path}: {len(times)} times and {len(values)} values")
        order = np.argsort(times, kind="stable")
        times, values = times[order], values[order]
        keep = np.append(np.diff(times) > 0, True)[: len(times)]
        values = np.where(np.abs(values) < _MOST, values, nan)
        if hold_s is None:
            hold_s = STANDING_HOLD_S if path.endswith(_STANDING_ENDINGS) else HOLD_S
        return cls(path, times[keep], values[keep], hold_s, calibration)

    @property
    def tags(self) -> tuple[str, ...]:
        """The paths behind it."""
        return self.behind or (self.path,)

    def at(self, time_ns: NDArray[np.int64]) -> NDArray[np.float64]:
        """The sample that speaks at each time; NaN where none does."""
        place = np.searchsorted(self.time_ns, time_ns, side="right") - 1
        if len(self.time_ns) == 0:
            return np.full(len(time_ns), nan)
        safe = np.maximum(place, 0)
        age = time_ns - self.time_ns[safe]
        spoken: NDArray[np.float64] = np.where(
            (place >= 0) & (age <= int(self.hold_s * NS)), self.value[safe], nan
        )
        return spoken

    def nearest(self, time_ns: NDArray[np.int64], within_s: float) -> NDArray[np.float64]:
        """The sample nearest to each time; NaN where none is so near."""
        if len(self.time_ns) == 0:
            return np.full(len(time_ns), nan)
        after = np.minimum(np.searchsorted(self.time_ns, time_ns), len(self.time_ns) - 1)
        before = np.maximum(after - 1, 0)
        earlier = np.abs(time_ns - self.time_ns[before]) <= np.abs(self.time_ns[after] - time_ns)
        place = np.where(earlier, before, after)
        near = np.abs(self.time_ns[place] - time_ns) <= int(within_s * NS)
        found: NDArray[np.float64] = np.where(near, self.value[place], nan)
        return found


Traces = Mapping[str, Trace]


def difference(path: str, high: Trace, low: Trace) -> Trace:
    """One trace less the other, where both have a sample within a second; with what their sensors share.

    Args:
        path: of what comes out.
    """
    value = high.value - low.nearest(high.time_ns, PAIRED_S)
    calibration = None
    if high.calibration is not None and low.calibration is not None:
        # The gain parts are taken at the mean values: a difference has no gain of its own.
        parts = _subtracted(_whole(high), _whole(low))
        calibration = Calibration(offset=parts)
    return Trace(path, high.time_ns, value, high.hold_s, calibration, (*high.tags, *low.tags))


def _whole(trace: Trace) -> dict[str, float]:
    known = trace.value[~np.isnan(trace.value)]
    mean = float(known.mean()) if len(known) else 0.0
    return {} if trace.calibration is None else trace.calibration.parts_at(mean)


def _subtracted(high: Mapping[str, float], low: Mapping[str, float]) -> dict[str, float]:
    return {s: high.get(s, 0.0) - low.get(s, 0.0) for s in dict.fromkeys((*high, *low))}
