"""Which bag was filled when, and which ones hold pellets of a time that is under suspicion. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from historian.errors import WrongInput
from historian.units import quantity
from trials.record.entries import Entry, What

GOOD: Final = "good"


@dataclass(frozen=True, slots=True)
class FilledBag:
    """A bag of pellets.

    Attributes:
        from_ns, to_ns: while it was filled, UTC nanoseconds; the first begins when nobody told.
        net_kg: None where it was not weighed.
        use: what a person decided: "good", "reject" or "held back".
    """

    name: str
    from_ns: int
    to_ns: int
    net_kg: float | None
    use: str


@dataclass(frozen=True, slots=True)
class Suspicion:
    """A time in which pellets may be spoilt.

    Attributes:
        from_ns, to_ns: of the melt at the place of the cause, UTC nanoseconds.
        lag_s: least and most time on the way from there into the bag, seconds.
        why: for a person.
    """

    from_ns: int
    to_ns: int
    lag_s: tuple[float, float]
    why: str


@dataclass(frozen=True, slots=True)
class SuspectBag:
    """A bag that may hold pellets of a suspicion, and of how much of the time of filling."""

    bag: FilledBag
    share: float
    why: str


def bags_of(entries: Iterable[Entry], start_ns: int) -> list[FilledBag]:
    """The bags of a trial in the order of filling; each begins where the one before was full.

    Args:
        entries: that stand in the record; those of other forms are passed over.
        start_ns: from when on pellets may have gone into the first bag.

    Raises:
        WrongInput: two bags were full at the same time, so that nobody can tell which was filled.
    """
    full = sorted((e for e in entries if e.what is What.BAG), key=lambda e: (e.time_ns, e.id))
    bags: list[FilledBag] = []
    from_ns = start_ns
    for entry in full:
        name = str(entry.data["name"])
        if bags and entry.time_ns == bags[-1].to_ns:
            raise WrongInput(f"bags {bags[-1].name} and {name} were full at the same time; correct one")
        net = entry.data.get("net")
        net_kg = None if net is None else quantity(str(net), "kg")
        bags.append(
            FilledBag(name, min(from_ns, entry.time_ns), entry.time_ns, net_kg, entry.data.get("use", GOOD))
        )
        from_ns = entry.time_ns
    return bags


def suspect_bags(bags: Sequence[FilledBag], suspicions: Iterable[Suspicion]) -> list[SuspectBag]:
    """The bags that may hold pellets of a suspicion, in the order of filling.

    What was under suspicion reached the bag after at least the least lag, and had gone by after the most.
    """
    found = []
    for one in suspicions:
        first_ns = one.from_ns + round(one.lag_s[0] * 1e9)
        last_ns = one.to_ns + round(one.lag_s[1] * 1e9)
        for bag in bags:
            overlap_ns = min(bag.to_ns, last_ns) - max(bag.from_ns, first_ns)
            if overlap_ns > 0:
                share = overlap_ns / (bag.to_ns - bag.from_ns)
                found.append(SuspectBag(bag, share, one.why))
    return sorted(found, key=lambda s: (s.bag.to_ns, s.why))
