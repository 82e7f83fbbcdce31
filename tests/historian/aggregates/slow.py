"""The definitions of OPC 10000-13 once more, read word for word: one interval and one sample at a time.

Written to be checked by eye against the text, not to be fast; shares no arithmetic with the package.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Callable
from itertools import pairwise

from historian.aggregates import Aggregate
from tests.historian.aggregates.slow_bounds import (
    BAD,
    BAD_CODE,
    CALCULATED,
    GOOD,
    INTERPOLATED,
    NAN,
    NO_DATA,
    PARTIAL,
    SEVERAL,
    SUB_NORMAL,
    UNCERTAIN,
    Answer,
    Samples,
)


class Reader(Samples):
    """One request; ``answers`` gives time, value and quality of each interval."""

    def answers(self, start: int, end: int, interval: int, kind: Aggregate) -> list[Answer]:
        found = []
        a = start
        while a < end:
            b = min(a + interval, end)
            found.append(self.answer(a, b, kind))
            a = b
        return found

    def answer(self, a: int, b: int, kind: Aggregate) -> Answer:
        extrapolates = kind in ("Interpolative", "TimeAverage", "Total")
        if not self.points or b <= self.points[0].time or (a > self.points[-1].time and not extrapolates):
            return a, NAN, NO_DATA
        time, value, quality = RULES[kind](self, a, b)
        if quality >> 31:
            value = NAN
        first, last = self.points[0].time, self.points[-1].time
        if kind not in ("Average", "Interpolative") and (a < first < b or a <= last < b):
            quality |= PARTIAL
        return time, value, quality

    # the aggregates, in the order of 5.4.3

    def interpolative(self, a: int, b: int) -> Answer:
        p = self.interpolated(a, self.stepped)
        return a, p.value, p.code if p.raw or p.state == BAD else p.code | INTERPOLATED

    def average(self, a: int, b: int) -> Answer:
        good = [p.value for p in self.inside(a, b) if p.state == GOOD]
        if not good:
            return a, NAN, NO_DATA
        return self.told(a, statistics.fmean(good), self.by_count(a, b))

    def time_average(self, a: int, b: int, total: bool = False) -> Answer:
        usable = [p for p in self.points if a < p.time < b and p.state != BAD]
        points = [self.interpolated(a, False), *usable, self.interpolated(b, False)]
        points = [p for p in points if p.state != BAD]
        if len(points) < 2:
            return a, NAN, NO_DATA
        steps = list(pairwise(points))
        area = sum((q.time - p.time) * (p.value + q.value) / 2 for p, q in steps)
        seen = points[-1].time - points[0].time
        doubtful = any(p.state != GOOD for p in [*points, *self.inside(a, b)]) or points[0].time > a
        value = area * 1e-9 if total else area / seen
        return self.told(a, value, SUB_NORMAL if doubtful else 0)

    def time_average_2(self, a: int, b: int, total: bool = False) -> Answer:
        regions = self.regions(a, b, self.stepped)
        area = sum(length * mean for length, state, mean in regions if state != BAD)
        seen = sum(length for length, state, _ in regions if state != BAD)
        if seen == 0:
            return a, NAN, NO_DATA
        code = self.status([(length, state) for length, state, _ in regions])
        return self.told(a, area * 1e-9 if total else area / seen, code)

    def extreme(self, a: int, b: int, best: Callable[[list[float]], float], own_time: bool) -> Answer:
        inside = self.inside(a, b)
        good = [p for p in inside if p.state == GOOD]
        if not good:
            return a, NAN, NO_DATA
        value = best([p.value for p in good])
        have_it = [p for p in good if p.value == value]
        beyond = any(p.state == UNCERTAIN and best([p.value, value]) != value for p in inside)
        doubtful = beyond or any(p.state == BAD for p in inside)
        quality = SUB_NORMAL if doubtful else 0
        if not own_time and (doubtful or have_it[0].time != a):
            quality |= CALCULATED
        if len(have_it) > 1:
            quality |= SEVERAL
        return (have_it[0].time if own_time else a), value, quality

    def range(self, a: int, b: int) -> Answer:
        low, high = self.extreme(a, b, min, False), self.extreme(a, b, max, False)
        if low[2] == NO_DATA:
            return low
        doubtful = low[2] >> 30 or high[2] >> 30
        return self.told(a, high[1] - low[1], SUB_NORMAL if doubtful else 0)

    def extreme_2(self, a: int, b: int, best: Callable[[list[float]], float], own_time: bool) -> Answer:
        start, end = self.simple(a), self.simple(b)
        inner = [p for p in self.points if a < p.time < b and p.state != BAD]
        offered = [(a, start, "edge")] if start.state != BAD else []
        offered += [(p.time, p, "inside") for p in inner]
        if end.state != BAD and not self.stepped:
            offered.append((b - 1, end, "edge"))
        code = self.status([(length, state) for length, state, _ in self.regions(a, b, self.stepped)])
        if not offered:
            return a, NAN, NO_DATA
        if code == BAD_CODE:
            return a, NAN, BAD_CODE
        value = best([p.value for _, p, _ in offered])
        have_it = [o for o in offered if o[1].value == value]
        time, point, place = have_it[0]
        if place == "edge" and not point.raw:
            code |= INTERPOLATED
        if place == "inside" and not own_time:
            code |= CALCULATED
        if len(have_it) > 1:
            code |= SEVERAL
        return (time if own_time else a), value, code

    def range_2(self, a: int, b: int) -> Answer:
        low, high = self.extreme_2(a, b, min, False), self.extreme_2(a, b, max, False)
        if low[2] >> 31:
            return a, NAN, NO_DATA
        return self.told(a, high[1] - low[1], SUB_NORMAL if low[2] >> 30 else 0)

    def annotation_count(self, a: int, b: int) -> Answer:
        return self.told(a, sum(a <= t < b for t in self.annotations), 0)

    def count(self, a: int, b: int) -> Answer:
        return self.told(a, sum(p.state == GOOD for p in self.inside(a, b)), self.by_count(a, b))

    def in_state(self, a: int, b: int, zero: bool) -> Answer:
        regions = self.regions(a, b, True)
        time = sum(length for length, state, v in regions if state == GOOD and (v == 0) == zero)
        return self.told(a, time / 1e6, self.status([(length, state) for length, state, _ in regions]))

    def transitions(self, a: int, b: int) -> Answer:
        before = [p.value for p in self.points if p.time < a and p.state != BAD]
        last = before[-1] if before else None
        number = 0
        for p in self.inside(a, b):
            if p.state != BAD:
                number += last is None or p.value != last
                last = p.value
        return self.told(a, number, self.by_count(a, b))

    def sample(self, a: int, b: int, which: int) -> Answer:
        inside = self.inside(a, b)
        if not inside:
            return a, NAN, NO_DATA
        return inside[which].time, inside[which].value, inside[which].code

    def delta(self, a: int, b: int) -> Answer:
        inside = self.inside(a, b)
        good = [p for p in inside if p.state == GOOD]
        if not good:
            return a, NAN, NO_DATA
        skipped = inside[0].state != GOOD or inside[-1].state != GOOD
        return self.told(a, good[-1].value - good[0].value, SUB_NORMAL if skipped else 0)

    def start_bound(self, a: int, b: int) -> Answer:
        p = self.simple(a)
        return a, p.value, p.code if p.raw or p.state == BAD else p.code | INTERPOLATED

    def end_bound(self, a: int, b: int) -> Answer:
        p = self.simple(b)
        return self.told(a, p.value, p.code)

    def delta_bounds(self, a: int, b: int) -> Answer:
        p, q = self.simple(a), self.simple(b)
        if BAD in (p.state, q.state):
            return a, NAN, NO_DATA
        return self.told(a, q.value - p.value, SUB_NORMAL if UNCERTAIN in (p.state, q.state) else 0)

    def duration(self, a: int, b: int, want: str, percent: bool) -> Answer:
        time = sum(length for length, state, _ in self.regions(a, b, True) if state == want)
        return self.told(a, 100 * time / (b - a) if percent else time / 1e6, 0)

    def worst(self, a: int, b: int, with_bound: bool) -> Answer:
        codes = [p.code for p in self.points if a <= p.time < b]
        if with_bound and not any(p.time == a for p in self.points):
            codes.insert(0, self.simple(a, self.lenient).code)
        if not codes:
            return a, NAN, NO_DATA
        worst = max(min(c >> 30, 2) for c in codes)
        have_it = [c for c in codes if min(c >> 30, 2) == worst]
        return a, float(have_it[0]), CALCULATED | (SEVERAL if len(have_it) > 1 and worst else 0)

    def spread(self, a: int, b: int, sample: bool, root: bool) -> Answer:
        inside = self.inside(a, b)
        good = [p.value for p in inside if p.state == GOOD]
        if not good:
            return a, NAN, NO_DATA
        variance = 0.0
        if len(good) > 1:
            variance = statistics.variance(good) if sample else statistics.pvariance(good)
        ignored = len(good) < len(inside)
        return self.told(a, math.sqrt(variance) if root else variance, SUB_NORMAL if ignored else 0)

    @staticmethod
    def told(a: int, value: float, code: int) -> Answer:
        return (a, NAN, code) if code >> 31 else (a, float(value), code | CALCULATED)


RULES: dict[str, Callable[[Reader, int, int], Answer]] = {
    "Interpolative": Reader.interpolative,
    "Average": Reader.average,
    "TimeAverage": Reader.time_average,
    "TimeAverage2": Reader.time_average_2,
    "Total": lambda r, a, b: r.time_average(a, b, True),
    "Total2": lambda r, a, b: r.time_average_2(a, b, True),
    "Minimum": lambda r, a, b: r.extreme(a, b, min, False),
    "Maximum": lambda r, a, b: r.extreme(a, b, max, False),
    "MinimumActualTime": lambda r, a, b: r.extreme(a, b, min, True),
    "MaximumActualTime": lambda r, a, b: r.extreme(a, b, max, True),
    "Range": Reader.range,
    "Minimum2": lambda r, a, b: r.extreme_2(a, b, min, False),
    "Maximum2": lambda r, a, b: r.extreme_2(a, b, max, False),
    "MinimumActualTime2": lambda r, a, b: r.extreme_2(a, b, min, True),
    "MaximumActualTime2": lambda r, a, b: r.extreme_2(a, b, max, True),
    "Range2": Reader.range_2,
    "AnnotationCount": Reader.annotation_count,
    "Count": Reader.count,
    "DurationInStateZero": lambda r, a, b: r.in_state(a, b, True),
    "DurationInStateNonZero": lambda r, a, b: r.in_state(a, b, False),
    "NumberOfTransitions": Reader.transitions,
    "Start": lambda r, a, b: r.sample(a, b, 0),
    "End": lambda r, a, b: r.sample(a, b, -1),
    "Delta": Reader.delta,
    "StartBound": Reader.start_bound,
    "EndBound": Reader.end_bound,
    "DeltaBounds": Reader.delta_bounds,
    "DurationGood": lambda r, a, b: r.duration(a, b, GOOD, False),
    "DurationBad": lambda r, a, b: r.duration(a, b, BAD, False),
    "PercentGood": lambda r, a, b: r.duration(a, b, GOOD, True),
    "PercentBad": lambda r, a, b: r.duration(a, b, BAD, True),
    "WorstQuality": lambda r, a, b: r.worst(a, b, False),
    "WorstQuality2": lambda r, a, b: r.worst(a, b, True),
    "StandardDeviationSample": lambda r, a, b: r.spread(a, b, True, True),
    "VarianceSample": lambda r, a, b: r.spread(a, b, True, False),
    "StandardDeviationPopulation": lambda r, a, b: r.spread(a, b, False, True),
    "VariancePopulation": lambda r, a, b: r.spread(a, b, False, False),
}
