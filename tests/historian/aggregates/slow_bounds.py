"""Bounding values, regions and the status of an interval, read word for word from OPC 10000-13; see ``slow``."""

from __future__ import annotations

import math
from dataclasses import dataclass

from historian.aggregates import AggregateConfig

GOOD, UNCERTAIN, BAD = "good", "uncertain", "bad"
BAD_CODE, NO_DATA, SUB_NORMAL = 0x8000_0000, 0x809B_0000, 0x40A4_0000
CALCULATED, INTERPOLATED, PARTIAL, SEVERAL = 0x401, 0x402, 0x404, 0x410
NAN = float("nan")


@dataclass(frozen=True)
class Point:
    time: int
    value: float
    state: str
    code: int = 0
    raw: bool = True


Answer = tuple[int, float, int]


class Samples:
    """The samples of one request, the values between them, and how good a stretch of them is."""

    def __init__(
        self,
        samples: list[tuple[int, float, int]],
        config: AggregateConfig,
        stepped: bool,
        annotations: tuple[int, ...] = (),
    ) -> None:
        samples = sorted(samples, key=lambda s: s[0])
        while samples and samples[0][2] & 0xFFFF0000 == NO_DATA:
            samples = samples[1:]
        self.config, self.stepped, self.annotations = config, stepped, annotations
        self.points = [
            Point(t, v, self.state(v, q, config.treat_uncertain_as_bad), q & 0xFFFF0000)
            for t, v, q in samples
        ]
        self.lenient = [Point(t, v, self.state(v, q, False), q & 0xFFFF0000) for t, v, q in samples]

    @staticmethod
    def state(value: float, quality: int, uncertain_is_bad: bool) -> str:
        if quality >> 31 or math.isnan(value):
            return BAD
        if quality >> 30 == 1:
            return BAD if uncertain_is_bad else UNCERTAIN
        return GOOD

    # 3.1.9

    def simple(self, t: int, points: list[Point] | None = None) -> Point:
        points = self.points if points is None else points
        at = [p for p in points if p.time == t]
        if at:
            return at[-1] if at[-1].state != BAD else Point(t, NAN, BAD, NO_DATA)
        before = [p for p in points if p.time < t]
        after = [p for p in points if p.time > t]
        if not before or not after or before[-1].state == BAD:
            return Point(t, NAN, BAD, NO_DATA, False)
        p, n = before[-1], after[0]
        if self.stepped:
            return self.estimate(t, p.value, p.state == UNCERTAIN)
        if n.state == BAD:
            return self.estimate(t, p.value, True)
        value = (t - p.time) * (n.value - p.value) / (n.time - p.time) + p.value
        return self.estimate(t, value, UNCERTAIN in (p.state, n.state))

    # 3.1.8

    def interpolated(self, t: int, stepped: bool) -> Point:
        usable = [p for p in self.points if p.state != BAD]
        at = [p for p in usable if p.time == t]
        if at:
            return at[-1]
        before = [p for p in usable if p.time < t]
        after = [p for p in usable if p.time > t]
        if not before:
            return Point(t, NAN, BAD, NO_DATA, False)
        p = before[-1]
        bad = [q.time for q in self.points if q.state == BAD]
        if stepped:
            skipped = any(p.time < x <= t for x in bad)
            beyond = t > self.points[-1].time
            return self.estimate(t, p.value, skipped or beyond or p.state == UNCERTAIN)
        if not after:
            value = p.value
            if self.config.use_sloped_extrapolation and len(before) > 1:
                o = before[-2]
                value = (t - o.time) * (p.value - o.value) / (p.time - o.time) + o.value
            return self.estimate(t, value, True)
        n = after[0]
        skipped = any(p.time < x < n.time for x in bad)
        value = (t - p.time) * (n.value - p.value) / (n.time - p.time) + p.value
        return self.estimate(t, value, skipped or UNCERTAIN in (p.state, n.state))

    @staticmethod
    def estimate(t: int, value: float, doubtful: bool) -> Point:
        return Point(t, value, UNCERTAIN if doubtful else GOOD, SUB_NORMAL if doubtful else 0, False)

    # 5.4.3.2.1

    def status(self, parts: list[tuple[float, str]]) -> int:
        total = sum(n for n, _ in parts)
        good, unsure, bad = (sum(n for n, s in parts if s == want) for want in (GOOD, UNCERTAIN, BAD))
        config = self.config
        if not config.treat_uncertain_as_bad:
            good += unsure
        if bad > 0 and bad == total:
            return BAD_CODE
        by_good_only = config.percent_data_good == 100 - config.percent_data_bad
        if bad > 0 and not by_good_only and bad * 100 >= config.percent_data_bad * total:
            return BAD_CODE
        if good * 100 < config.percent_data_good * total:
            return SUB_NORMAL
        return SUB_NORMAL if unsure > 0 and not config.treat_uncertain_as_bad else 0

    def by_count(self, a: int, b: int) -> int:
        return self.status([(1, p.state) for p in self.inside(a, b)])

    def inside(self, a: int, b: int) -> list[Point]:
        return [p for p in self.points if a <= p.time < b]

    def regions(self, a: int, b: int, stepped: bool) -> list[tuple[int, str, float]]:
        """Length, state and mean value of each region between simple bounding values."""
        points = [self.simple(a), *(p for p in self.points if a < p.time < b), self.simple(b)]
        times = [a, *(p.time for p in points[1:-1]), b]
        found = []
        for k in range(len(points) - 1):
            left, right, length = points[k], points[k + 1], times[k + 1] - times[k]
            if left.state == BAD:
                found.append((length, BAD, NAN))
            elif stepped:
                found.append((length, left.state, left.value))
            elif right.state == BAD:
                found.append((length, UNCERTAIN, left.value))
            else:
                state = GOOD if left.state == right.state == GOOD else UNCERTAIN
                found.append((length, state, (left.value + right.value) / 2))
        return found
