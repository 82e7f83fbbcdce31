"""What goes wrong when in a campaign of faults, and what must be in the store after it."""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

import numpy as np

from historian.clocks.originals import original_times
from historian.frame import NS, Series
from historian.quality import HELD, is_bad

Record = Mapping[str, Mapping[int, float]]
"""Path → source time → value, as the machine itself wrote it down."""


class FaultKind(StrEnum):
    """What goes wrong."""

    SERVER_KILLED = "server killed"
    NETWORK_CUT = "network cut"
    HALF_OPEN = "half-open connection"
    BROKER_RESTARTED = "broker restarted"
    PROCESS_KILLED = "process killed"
    CLOCK_STEPPED = "clock stepped"


OF_A_SOURCE = (FaultKind.NETWORK_CUT, FaultKind.HALF_OPEN)


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault of a campaign.

    Attributes:
        at_s: when it begins, seconds from the start of the campaign.
        lasts_s: how long it holds.
        source: whose connection it is; empty where it is about all of them.
        step_s: by how much the clock steps.
    """

    kind: FaultKind
    at_s: float
    lasts_s: float
    source: str = ""
    step_s: float = 0.0


def plan(
    seed: int,
    count: int,
    span_s: float,
    sources: Sequence[str],
    *,
    longest_s: float = 20.0,
    once_s: float = 120.0,
) -> list[Fault]:
    """Faults of all kinds in a random order, with calm between them, one of them a long cut.

    Args:
        count: of faults.
        span_s: in which they happen.
        sources: whose connections can fail; the OPC UA servers among them can be killed.
        longest_s: the longest ordinary fault.
        once_s: how long the one long cut lasts; 0 for none.
    """
    chance = random.Random(seed)
    kinds = [kind for kind in FaultKind for _ in range(-(-count // len(FaultKind)))]
    chance.shuffle(kinds)
    # Every kind is there, however few faults there are.
    kinds = [*FaultKind, *kinds][: max(count, 0)] if count <= len(FaultKind) else kinds[:count]
    chance.shuffle(kinds)
    slot_s = (span_s - once_s) / count
    at_s, faults = 0.0, []
    cuts = [number for number, kind in enumerate(kinds) if kind is FaultKind.NETWORK_CUT]
    long_one = chance.choice(cuts) if once_s else -1
    for number, kind in enumerate(kinds):
        lasts_s = chance.uniform(0.5, min(longest_s, slot_s * 0.5))
        if number == long_one:
            faults.append(_fault(chance, FaultKind.NETWORK_CUT, at_s, once_s, sources))
            at_s += slot_s + once_s
        else:
            faults.append(_fault(chance, kind, at_s, lasts_s, sources))
            at_s += slot_s
    return faults


def _fault(
    chance: random.Random, kind: FaultKind, at_s: float, lasts_s: float, sources: Sequence[str]
) -> Fault:
    if kind is FaultKind.SERVER_KILLED:
        servers = [name for name in sources if name != "queue"]
        return Fault(kind, at_s, lasts_s, chance.choice(servers))
    if kind is FaultKind.CLOCK_STEPPED:
        return Fault(kind, at_s, lasts_s, step_s=chance.choice([-10.0, 10.0]))
    return Fault(kind, at_s, lasts_s, chance.choice(list(sources)) if kind in OF_A_SOURCE else "")


def as_stamped(series: Series, shifts: Series) -> Series:
    """The series at the times that its source stamped, where its clock was taken to be wrong for a while.

    What nobody can tell the original of stays where it is, and is found to be foreign.
    """
    times, _ = original_times(series.time_ns, shifts)
    order = np.argsort(times, kind="stable")
    return Series(times[order], series.value[order], series.quality[order])


def not_once(record: Record, stored: Mapping[str, Series]) -> Iterator[str]:
    """What is wrong with a source that keeps what was not collected: each recorded sample must be there once.

    Samples before the first stored one are nobody's, and marks and held values are no samples.
    """
    for path, samples in record.items():
        series = stored.get(path)
        if series is None or len(series) == 0:
            yield f"{path}: nothing is stored"
            continue
        raw = ~is_bad(series.quality) & (series.quality != HELD)
        times, values = series.time_ns[raw].tolist(), series.value[raw].tolist()
        kept = dict(zip(times, values, strict=True))
        if len(kept) != len(times):
            again = [t for t, n in zip(*np.unique(times, return_counts=True), strict=True) if n > 1]
            yield f"{path}: {len(again)} samples are there twice, the first at {again[0]}"
        due = {t: v for t, v in samples.items() if t >= times[0]}
        missing = [t for t in due if t not in kept]
        if missing:
            yield f"{path}: {len(missing)} of {len(due)} samples are missing, the first at {missing[0]}"
        wrong = [t for t, v in due.items() if t in kept and kept[t] != v]
        if wrong:
            yield f"{path}: {len(wrong)} samples have another value, the first at {wrong[0]}"
        foreign = [t for t in kept if t not in samples]
        if foreign:
            yield f"{path}: {len(foreign)} samples were never sent, the first at {foreign[0]}"


def not_explicit(
    record: Record,
    stored: Mapping[str, Series],
    outages: Sequence[tuple[int, int]],
    *,
    slack_s: float = 10.0,
    usual_s: float = 2.0,
) -> Iterator[str]:
    """What is wrong with a source that keeps nothing: each hole must be marked, and be no wider than it must.

    Args:
        outages: when it could not be collected, in source time, (begin, end) in nanoseconds.
        slack_s: by how much a hole may be wider than its outage.
        usual_s: two samples further apart than this have a hole between them.
    """
    for path, samples in record.items():
        series = stored[path]
        times = series.time_ns[~is_bad(series.quality)].tolist()
        marks = series.time_ns[is_bad(series.quality)]
        kept = set(times)
        holes = [(a, b) for a, b in pairwise(times) if b - a > usual_s * NS]
        for begin_ns, end_ns in holes:
            if not ((marks > begin_ns) & (marks < end_ns)).any():
                yield f"{path}: the hole from {begin_ns} to {end_ns} is not marked"
            if not any(begin_ns >= a - slack_s * NS and end_ns <= b + slack_s * NS for a, b in outages):
                yield f"{path}: a hole of {(end_ns - begin_ns) / NS:.1f} s from {begin_ns} has no such outage"
        marked = _marked(series)
        missing = (t for t in samples if times[0] <= t <= times[-1] and t not in kept)
        unsaid = next((t for t in missing if not any(a <= t <= b for a, b in marked)), None)
        if unsaid is not None:
            yield f"{path}: the sample at {unsaid} is missing and nothing says so"


def _marked(series: Series) -> list[tuple[int, int]]:
    """From each mark's last good sample before to its first one after."""
    good = series.time_ns[~is_bad(series.quality)]
    spans = []
    for mark in series.time_ns[is_bad(series.quality)].tolist():
        place = int(np.searchsorted(good, mark))
        spans.append(
            (int(good[place - 1]) if place else -(2**62), int(good[place]) if place < len(good) else 2**62)
        )
    return spans
