"""In what two sides are not alike, beside their figures: it stands beside the table and is never hidden."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from enum import StrEnum

from rules.review import Window
from trials.comparison.side import Side

SAME_FINENESS = 0.005
SAME_FLOW = 0.05
SAME_AREA = 0.02
"""Shares by which two may differ and still be the same. common practice, no source: all three."""


_BALE = ", bale "


class Trait(StrEnum):
    """In what sides may differ; those of the first group keep differences from being judged."""

    FINENESS = "fineness"
    LOT = "lot"
    POLYMER = "polymer"
    TIME = "time"
    BALE = "bale"
    AREA = "area"
    THROUGHPUT = "throughput"


JUDGED_ONLY_ALIKE = frozenset({Trait.FINENESS, Trait.LOT, Trait.POLYMER, Trait.TIME})


@dataclass(frozen=True, slots=True)
class Unlike:
    """One thing in which a side is not like the first.

    Attributes:
        bars_judging: whether differences are not judged because of it.
    """

    trait: Trait
    sentence: str
    bars_judging: bool


def unlike(first: Side, other: Side, across: Collection[Trait] = ()) -> list[Unlike]:
    """In what the other side is not like the first.

    Args:
        across: what is told to differ on purpose: it is said, and differences are judged.
    """
    found = [
        (Trait.FINENESS, _fineness(first, other)),
        (Trait.LOT, _words("lot", first, _lot(first), other, _lot(other))),
        (Trait.POLYMER, _words("polymer", first, first.polymer, other, other.polymer)),
        (Trait.TIME, _shared_time(first, other)),
        (Trait.BALE, _bale(first, other)),
        (Trait.AREA, _area(first, other)),
        (Trait.THROUGHPUT, _flow(first, other)),
    ]
    return [
        Unlike(trait, said, trait in JUDGED_ONLY_ALIKE and trait not in across)
        for trait, said in found
        if said
    ]


def _fineness(first: Side, other: Side) -> str:
    one, two = (s.facts.screen.hole_um if s.facts.screen is not None else None for s in (first, other))
    if one is None or two is None:
        return _not_told("fineness", first, one is None, other, two is None)
    if abs(one - two) <= SAME_FINENESS * max(one, two):
        return ""
    return f"Other fineness: {one:.4g} µm in {first.name}, {two:.4g} µm in {other.name}."


def _words(what: str, first: Side, one: str, other: Side, two: str) -> str:
    if not one or not two:
        if first.trial == other.trial and one == two:
            return ""
        return _not_told(what, first, not one, other, not two)
    if one.strip().casefold() == two.strip().casefold():
        return ""
    return f"Other {what}: {one} in {first.name}, {two} in {other.name}."


def _lot(side: Side) -> str:
    return side.lot.partition(_BALE)[0]


def _bale(first: Side, other: Side) -> str:
    """Bales of one lot; those of other lots are other bales anyway."""
    one, two = (s.lot.partition(_BALE)[2] for s in (first, other))
    if _lot(first) != _lot(other) or one == two:
        return ""
    return f"Other bale: {one or 'not told'} in {first.name}, {two or 'not told'} in {other.name}."


def _not_told(what: str, first: Side, first_lacks: bool, other: Side, other_lacks: bool) -> str:
    lacking = [s.name for s, lacks in ((first, first_lacks), (other, other_lacks)) if lacks]
    return f"The {what} of {' and of '.join(lacking)} is not told: whether it is the same is not known."


def _shared_time(first: Side, other: Side) -> str:
    if first.trial != other.trial:
        return ""
    shared_s = sum(
        max(0.0, Window(max(a.start_ns, b.start_ns), min(a.end_ns, b.end_ns)).s)
        for a in first.windows
        for b in other.windows
    )
    if shared_s <= 0:
        return ""
    return f"{first.name} and {other.name} share {shared_s / 60:.3g} min: they are partly the same samples."


def _area(first: Side, other: Side) -> str:
    one, two = first.facts.screen, other.facts.screen
    if (
        one is None
        or two is None
        or abs(one.area_cm2 - two.area_cm2) <= SAME_AREA * max(one.area_cm2, two.area_cm2)
    ):
        return ""
    return (
        f"Other screen area: {one.area_cm2:.0f} cm² in {first.name}, {two.area_cm2:.0f} cm² in {other.name}; "
        "compare the specific throughput."
    )


def _flow(first: Side, other: Side) -> str:
    one, two = (_value(s, "throughput, doser") for s in (first, other))
    if one is None or two is None or abs(one - two) <= SAME_FLOW * max(one, two):
        return ""
    return (
        f"Other throughput: {one:.0f} kg/h in {first.name}, {two:.0f} kg/h in {other.name}; compare "
        "pressures at the reference."
    )


def _value(side: Side, name: str) -> float | None:
    return next((f.value for f in side.figures.figures if f.name == name), None)
