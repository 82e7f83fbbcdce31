"""The reference data set: what a line of 200 tags sends in a day, made from a fixed seed.

85 temperatures with control ripple, quantised to 0.1; 20 pressures at 1 Hz and 5 at 10 Hz, to 0.01; 15
channels of twelve bits and 10 of full single precision; 15 counters, 20 booleans, 30 set-points that seldom
change. The tags of one scan group, of which there are five, share their time stamps, in whole milliseconds
with about 3 ms of jitter. Each tag has about two bad bursts a day. For a season there is one tag more.
Invented; the kinds and their shares are what a line with one controller has.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from historian.frame import NS, Frame, Qualities, TagIds, Times, Values
from historian.quality import LAST_USABLE, SENSOR_FAILURE
from historian.tags import Tag, TagKind

START_NS: Final = 1_767_225_600 * NS  # 2026-01-01 00:00 UTC
MS: Final = NS // 1000
_SEED: Final = 20_260_101
_JITTER_MS: Final = 3.0
_BURSTS_A_DAY: Final = 2.0

KINDS: Final = (
    ("temperature", 85, "Cel", TagKind.ANALOG),
    ("pressure", 20, "bar", TagKind.ANALOG),
    ("channel", 15, "A", TagKind.ANALOG),
    ("float", 10, "kW", TagKind.ANALOG),
    ("counter", 15, "1", TagKind.STEP),
    ("switch", 20, "1", TagKind.BOOLEAN),
    ("setting", 30, "Cel", TagKind.STEP),
    ("quick", 5, "bar", TagKind.ANALOG),
)
_SLOW_GROUPS: Final = 4

LONG_TAG: Final = Tag("bench.long.1.pv", "Cel", id=1)
"""Alone in a store of its own."""


@dataclass(frozen=True, slots=True)
class Group:
    """What one scan group sent.

    Attributes:
        tags: numbers, rising, shape (k,).
        time_ns: source time of each scan, shape (n,).
        second: in which second of the set each scan was sent, shape (n,).
        value, quality: one column a tag, shape (n, k).
    """

    tags: TagIds
    time_ns: Times
    second: NDArray[np.int64]
    value: NDArray[np.float64]
    quality: NDArray[np.uint32]


def tags() -> list[Tag]:
    """The 200 tags with their numbers, in the order of ``KINDS``."""
    found: list[Tag] = []
    for name, count, unit, kind in KINDS:
        for place in range(1, count + 1):
            found.append(Tag(f"bench.{name}.{place}.pv", unit, kind, id=len(found) + 1))
    return found


def hour(number: int, seconds: int = 3_600) -> list[Group]:
    """What the scan groups sent in one hour of the set; the same whenever it is asked.

    Args:
        number: of the hour, from 0.
        seconds: how much of it.
    """
    chance = np.random.default_rng([_SEED, number])
    named = tags()
    slow = [t.id for t in named if not t.path.startswith("bench.quick.")]
    quick = [t.id for t in named if t.path.startswith("bench.quick.")]
    groups = [
        _group(named, slow[g::_SLOW_GROUPS], number, seconds, g, 1, chance) for g in range(_SLOW_GROUPS)
    ]
    return [*groups, _group(named, quick, number, seconds, _SLOW_GROUPS, 10, chance)]


def frames(groups: list[Group], number: int) -> Iterator[Frame]:
    """The samples of an hour as the edge gets them: one frame a second."""
    chance = np.random.default_rng([_SEED, number, 1])
    columns = [
        (
            np.tile(g.tags, len(g.time_ns)),
            np.repeat(g.time_ns, len(g.tags)),
            g.value.ravel(),
            g.quality.ravel(),
            np.repeat(g.second, len(g.tags)),
        )
        for g in groups
    ]
    tag, time_ns, value, quality, second = (np.concatenate(c) for c in zip(*columns, strict=True))
    order = np.lexsort((time_ns, tag, second))
    tag, time_ns, value, quality, second = (c[order] for c in (tag, time_ns, value, quality, second))
    edges = np.searchsorted(second, np.arange(second[0], second[-1] + 2)).tolist()
    late_ns = chance.integers(20 * MS, 270 * MS, len(edges)).tolist()
    for place, (a, b) in enumerate(pairwise(edges)):
        arrival_ns = START_NS + (int(second[0]) + place + 1) * NS + late_ns[place]
        yield Frame(tag[a:b].astype(np.int32), time_ns[a:b], value[a:b], quality[a:b], arrival_ns)


def long_day(number: int) -> Frame:
    """A day of the single tag at 1 Hz, in one frame: quantised to 0.1, about 3 ms of jitter.

    Args:
        number: of the day, from 0.
    """
    chance = np.random.default_rng([_SEED, 3, number])
    second = np.arange(86_400, dtype=np.int64)
    time_ns = START_NS + (number * 86_400 + second) * NS + (100 + _jitter_ms(chance, len(second))) * MS
    t_s = number * 86_400.0 + second
    value = 220 + 3 * np.sin(t_s / 40_000) + 1.2 * np.sin(t_s / 20) + chance.normal(0, 0.1, len(second))
    tag, good = np.full(len(second), LONG_TAG.id), np.zeros(len(second))
    return Frame.of(tag, time_ns, np.round(value, 1), good, arrival_ns=int(time_ns[-1]) + NS)


def _group(
    named: list[Tag],
    numbers: list[int],
    hour_number: int,
    seconds: int,
    place: int,
    rate: int,
    chance: np.random.Generator,
) -> Group:
    n = seconds * rate
    scan = np.arange(n, dtype=np.int64)
    period_ms = 1000 // rate
    at_ms = scan * period_ms + (40 + 130 * place) % period_ms
    time_ns = START_NS + hour_number * 3_600 * NS + (at_ms + _jitter_ms(chance, n)) * MS
    seconds_in = hour_number * 3_600 + scan / rate
    value = np.empty((n, len(numbers)))
    quality = np.zeros((n, len(numbers)), dtype=np.uint32)
    for column, number in enumerate(numbers):
        kind = named[number - 1].path.split(".")[1]
        value[:, column] = _signal(kind, number, seconds_in, chance)
        _burst(value[:, column], quality[:, column], seconds, chance)
    return Group(np.array(numbers, np.int32), time_ns, hour_number * 3_600 + scan // rate, value, quality)


def _jitter_ms(chance: np.random.Generator, n: int) -> Times:
    return np.clip(np.rint(chance.normal(0, _JITTER_MS, n)), -15, 15).astype(np.int64)


def _signal(kind: str, number: int, t_s: Values, chance: np.random.Generator) -> Values:
    """One tag's readings; what must go on from hour to hour depends on the time alone."""
    n = len(t_s)
    mine = np.random.default_rng([_SEED, 2, number])
    phase, period_s = mine.uniform(0, 6.28), mine.uniform(90, 180)
    slow = np.sin(2 * np.pi * t_s / mine.uniform(9_000, 40_000) + phase)
    if kind == "temperature":
        ripple = 1.2 * np.sin(2 * np.pi * t_s / period_s + phase)
        return np.round(mine.uniform(180, 260) + 1.5 * slow + ripple + chance.normal(0, 0.08, n), 1)
    if kind in ("pressure", "quick"):
        rise = 15 * ((t_s / mine.uniform(200, 600) + phase) % 1.0)
        return np.round(mine.uniform(40, 120) + rise + chance.normal(0, 0.15, n), 2)
    if kind == "channel":
        code = np.clip(np.rint(2_000 + 900 * slow + chance.normal(0, 60, n)), 0, 4_095)
        return (code * np.float32(150 / 4_095)).astype(np.float32).astype(np.float64)
    if kind == "float":
        return (
            (mine.uniform(20, 80) + 5 * slow + chance.normal(0, 0.5, n)).astype(np.float32).astype(np.float64)
        )
    if kind == "counter":
        return np.floor(t_s * mine.uniform(0.05, 3.0))
    if kind == "switch":
        return ((t_s / mine.uniform(60, 900) + phase) % 1.0 < 0.3).astype(np.float64)
    return np.round(180 + 5 * np.floor(t_s / mine.uniform(7_000, 30_000)), 1)


def _burst(value: Values, quality: Qualities, seconds: int, chance: np.random.Generator) -> None:
    for _ in range(chance.poisson(_BURSTS_A_DAY * seconds / 86_400)):
        low = int(chance.integers(0, len(value)))
        high = low + int(chance.integers(5, 60))
        if chance.random() < 0.3:
            quality[low:high] = LAST_USABLE
        else:
            quality[low:high] = SENSOR_FAILURE
            value[low:high] = np.nan
