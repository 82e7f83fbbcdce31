"""What a variable that no standard describes may be: from its words, its unit and what it holds now."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Final

from collector.discovery.finding import Confidence
from collector.discovery.meanings import READINGS, Reading
from collector.discovery.space import Span
from collector.discovery.words import PLACES, QUANTITIES, Said, read_words
from collector.reading.told_unit import ToldUnit
from historian.catalogue import CATALOGUE, meaning_of
from historian.errors import UnitMismatch, UnknownUnit
from historian.tags import pattern_of
from historian.units import conversion, shown_unit

MOST_READINGS: Final = 4
"""More readings than this of one variable are no help to anybody."""

_HIGHEST_PLACE: Final = 64
_ANYWHERE: Final = {"line"}  # a line has all of it
_EXCLUDING: Final = PLACES | QUANTITIES | {"set", "before", "after", "supply", "return", "zone"}
_OPEN: Final = PLACES | {"heater", "before", "after", "supply", "return", "melt", "screw", "hopper"}

# What a unit alone says is measured, where no word does.
_BY_UNIT: Final = {"Cel": "temperature", "bar": "pressure", "A": "current", "kW": "power", "kW.h": "energy",
                   "kg": "weight", "kg/h": "flow", "m3/h": "flow", "/min": "speed", "N.m": "torque",
                   "mm/s": "vibration", "deg": "angle"}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Hints:
    """What is known of a variable.

    Attributes:
        names: its own names and texts, the browse name first.
        around: names of what holds it, the nearest first.
        unit: as the server tells it; None for none.
        value: what it holds now; None for nothing.
        span: the range that it is scaled for.
        is_set: whether it is known to be a set-point, or known not to be one; None where only words tell.
    """

    names: tuple[str, ...]
    around: tuple[str, ...] = ()
    unit: ToldUnit | None = None
    value: float | None = None
    span: Span | None = None
    is_set: bool | None = None


@dataclass(frozen=True, slots=True)
class Proposal:
    """What it may be.

    Attributes:
        readings: canonical tags; one is a proposal, several are a question, none is no idea.
        confidence: of the one.
        reason: what speaks for it, or why there is none.
        from_zero: the tag, ``*`` for its place, that it would be if places were counted from 0.
    """

    readings: tuple[str, ...]
    confidence: Confidence = Confidence.LOW
    reason: str = ""
    from_zero: str = ""


def propose(hints: Hints, among: Collection[str] | None = None, place: int | None = None) -> Proposal:
    """What a variable may be.

    Args:
        among: the tags that it can be, ``*`` for the place number; None for any.
        place: the place number, where something else than words tells it.

    Example:
        >>> bar = ToldUnit(-1, "bar")
        >>> propose(Hints(("P_1", "Massedruck vor Sieb"), unit=bar, value=93.0)).readings
        ('filter.inlet.pressure.pv',)
        >>> propose(Hints(("TempZone3",))).readings[:2]
        ('extruder.zone.3.temp.pv', 'pump.zone.3.temp.pv')
    """
    if among is None and (named := propose_by_name(hints)).readings:
        return named
    said = read_words(hints.names)
    around = _around(hints, said)
    spoken = _with_quantity(said.concepts, hints)
    concepts = spoken | around.concepts
    if hints.is_set is not None:
        spoken, concepts = ((c - {"set"}) | ({"set"} if hints.is_set else set()) for c in (spoken, concepts))
    number = place if place is not None else said.number if said.number is not None else around.number
    # Where it can be few things only, the machine that it is in speaks against none of them.
    heard = around.concepts & PLACES - _ANYWHERE if among is None else frozenset()
    against = (spoken | heard) & _EXCLUDING
    readings = [r for r in READINGS if against <= r.fits and (among is None or r.tag in among)]
    fitting = [r for r in readings if hints.unit is None or becomes(hints.unit, r.tag)]
    whole = _best([r for r in fitting if not _missing(r, concepts)], concepts)
    if len(whole) == 1:
        return _placed(whole[0], number, hints, concepts)
    near = whole or [r for r in fitting if _lacks_little(r, concepts)]
    counted = [r for r in near if "*" in r.tag] if number is not None else []
    tags = [tag for r in counted or near if (tag := _with_number(r.tag, number)) is not None]
    if not 0 < len(tags) <= MOST_READINGS:
        return Proposal((), reason=_why_none(spoken, len(tags)))
    missing = sorted({"/".join(sorted(need)) for r in near for need in _missing(r, concepts)})
    why = f"nothing says which: {', '.join(missing)}" if missing else "its words fit all of them"
    return Proposal(tuple(tags), reason=why)


def propose_by_name(hints: Hints) -> Proposal:
    """What a variable may be that is named as one of our tags is; no reading otherwise."""
    for name in hints.names:
        if pattern_of(name) in CATALOGUE and "*" not in name:
            return _judged(name, hints, ("the tag's own name",))
    return Proposal((), reason="it is not named as a tag is")


def _around(hints: Hints, said: Said) -> Said:
    """What the names around it add; where its own words name a place, theirs are not heard."""
    has_place = bool(said.concepts & PLACES)
    for name in hints.around:
        told = read_words([name])
        if told.concepts & (PLACES | {"zone", "plate"}):
            concepts = told.concepts - QUANTITIES
            own = concepts - PLACES if has_place and not concepts & said.concepts else concepts
            rest = [n for n in hints.around if n != name]
            more = read_words(rest).concepts & PLACES if not own & PLACES and not has_place else frozenset()
            return Said(own | more, told.number if told.concepts & {"zone", "plate", "vent"} else None)
    return Said(frozenset())


def _with_quantity(concepts: frozenset[str], hints: Hints) -> frozenset[str]:
    """The concepts, and what the unit says is measured where no word does."""
    if concepts & QUANTITIES or hints.unit is None or (code := hints.unit.code) is None:
        return concepts
    return concepts | {what for unit, what in _BY_UNIT.items() if _converts(code, unit)}


def _missing(reading: Reading, concepts: Collection[str]) -> list[frozenset[str]]:
    return [need for need in reading.needs if need.isdisjoint(concepts)]


def _lacks_little(reading: Reading, concepts: Collection[str]) -> bool:
    """Whether one thing is missing, a place, and more than the quantity is there."""
    missing = _missing(reading, concepts)
    there = [n for n in reading.needs if n not in missing and not n & (QUANTITIES | {"set"})]
    return len(missing) == 1 and missing[0] <= _OPEN and bool(there)


def _best(readings: list[Reading], concepts: Collection[str]) -> list[Reading]:
    """Those that explain most of what is said."""
    explained = [len(r.fits & set(concepts)) for r in readings]
    return [r for r, n in zip(readings, explained, strict=True) if n == max(explained)]


def _with_number(tag: str, number: int | None) -> str | None:
    if "*" not in tag:
        return tag
    return tag.replace("*", str(number)) if number is not None and 0 < number <= _HIGHEST_PLACE else None


def _placed(reading: Reading, number: int | None, hints: Hints, concepts: Collection[str]) -> Proposal:
    tag = _with_number(reading.tag, number)
    if tag is None:
        why = "counts from 0, and places are counted from 1 here" if number == 0 else "has no place number"
        return Proposal(
            (), reason=f"it looks like {reading.tag}, but {why}", from_zero=reading.tag if number == 0 else ""
        )
    words = sorted(reading.fits & set(concepts) - {"actual"})
    return _judged(tag, hints, words)


def _judged(tag: str, hints: Hints, words: Sequence[str]) -> Proposal:
    """The proposal, with how well unit and value agree."""
    meaning = CATALOGUE[pattern_of(tag)]
    reason = "says " + ", ".join(words) if words else ""
    if meaning.unit == "1":
        return Proposal((tag,), Confidence.HIGH, reason)
    code = hints.unit.code if hints.unit is not None else None
    if code is None:
        told = f"its unit '{hints.unit.text}' is not known" if hints.unit is not None else "no unit is told"
        return Proposal((tag,), _unless_odd(tag, meaning.unit, hints, Confidence.MEDIUM), f"{reason}; {told}")
    if hints.unit is not None and not becomes(hints.unit, tag):
        return Proposal((), reason=f"{reason}, but its unit {hints.unit.text} cannot become {meaning.unit}")
    confidence = _unless_odd(tag, code, hints, Confidence.HIGH)
    odd = (
        "; what it holds, or its range, is not what such a sensor shows"
        if confidence is Confidence.LOW
        else ""
    )
    return Proposal((tag,), confidence, f"{reason}; in {shown_unit(code)}{odd}")


def _unless_odd(tag: str, unit: str, hints: Hints, otherwise: Confidence) -> Confidence:
    """The confidence, or a low one where what it holds, or the range that it has, cannot be."""
    meaning = CATALOGUE[pattern_of(tag)]
    scale, offset = conversion(unit, meaning.unit)
    if hints.value is not None and not meaning.low <= hints.value * scale + offset <= meaning.high:
        return Confidence.LOW
    if hints.span is not None:
        low, high = hints.span.low * scale + offset, hints.span.high * scale + offset
        slack = meaning.high - meaning.low
        if low < meaning.low - slack or high > meaning.high + slack:
            return Confidence.LOW
    return otherwise


def unit_taken_for(tag: str) -> str:
    """The unit that is written where nobody says one.

    It is ``1``, which cannot become another unit, so that nobody forgets to write the right one. Only a ``1``
    would silently become a hundred percent, so what is proposed as a share is taken for percent.
    """
    meaning = meaning_of(tag) if tag else None
    return "%" if meaning is not None and meaning.unit == "%" else "1"


def becomes(told: ToldUnit, tag: str) -> bool:
    """Whether what comes in a unit can be kept as a tag."""
    meaning = CATALOGUE.get(tag) or meaning_of(tag)
    if meaning is None or told.code is None:
        return True
    if told.reference and meaning.reference and told.reference != meaning.reference:
        return False
    return _converts(told.code, meaning.unit)


def _converts(unit: str, to: str) -> bool:
    try:
        conversion(unit, to)
    except (UnitMismatch, UnknownUnit):
        return False
    return True


def _why_none(spoken: frozenset[str], readings: int) -> str:
    heard = ", ".join(sorted(spoken)) or "nothing that is known here"
    return f"its words say {heard}" + (f", which fits {readings} tags" if readings else "")
