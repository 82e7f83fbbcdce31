"""What is kept of a machine after OPC 40084: under its tag, or under a neutral name to be confirmed."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

from collector.discovery.companion import Claim
from collector.discovery.companion_table import POINTS, MachineName
from collector.discovery.finding import Confidence, Finding, Standing
from collector.discovery.neutral import neutral_path
from collector.discovery.odd_zones import odd_zones
from collector.discovery.proposal import MOST_READINGS, Hints, becomes, propose, unit_taken_for
from collector.discovery.space import DURATION, Space, number_of
from collector.discovery.words import PLACES, read_words
from historian.catalogue import meaning_of
from historian.tags import TagKind

_TELLING: Final = PLACES | {"before", "after", "supply", "return", "screw"}
_FOLDERS: Final[Mapping[str, str]] = {
    "MeltPressureZones": "melt pressure",
    "MeltPressures": "melt pressure",
    "MeltTemperatureZones": "melt temperature",
    "VacuumZones": "vacuum",
    "PressureZones": "pressure",
}
_VACUUM: Final = "VacuumZones"


@dataclass(slots=True)
class _Sight:
    """What is to be known of all claims to judge one.

    Attributes:
        instances: machines, and machines in them, by family.
        times: how often each tag is claimed.
        odd: filter zones that may be no heater plates → why, by machine and place.
        points: how many points a folder has.
    """

    instances: dict[tuple[MachineName, str], list[tuple[MachineName, str, int, str, int]]]
    times: Counter[str]
    odd: dict[tuple[str, int], tuple[str, str]] = field(default_factory=dict)
    points: Counter[tuple[str, str]] = field(default_factory=Counter)


def judge_claims(space: Space, claims: Sequence[Claim]) -> list[Finding]:
    """What is kept of each claimed variable, and what is to be confirmed."""
    families: dict[tuple[MachineName, str], set[tuple[MachineName, str, int, str, int]]] = defaultdict(set)
    for claim in claims:
        families[claim.row.family].add(claim.instance)
    sight = _Sight({f: sorted(of) for f, of in families.items()}, Counter(c.tag for c in claims))
    sight.odd = odd_zones(space, claims)
    sight.points.update(
        (c.machine.node.address, c.names[0]) for c in claims if not c.tag and c.names[-1] == "ActualValue"
    )
    return [_judged(space, claim, sight) for claim in claims]


def _judged(space: Space, claim: Claim, sight: _Sight) -> Finding:
    if not claim.tag:
        return _point(space, claim, sight)
    alike = sight.instances[claim.row.family]
    # The other machine of its type may have nothing in common with this one; it is asked all the same.
    if claim.machine.number or len(alike) > 1:
        return _one_of(space, claim, alike)
    if claim.tag.startswith("filter.plate."):
        odd = sight.odd.get((claim.machine.node.address, claim.place or 0))
        if odd is not None:
            return _odd(space, claim, *odd)
    if claim.place == 0:
        return _asked(space, claim, "", "this machine counts from 0, and places are counted from 1 here")
    if sight.times[claim.tag] > 1:
        said = f"{sight.times[claim.tag]} variables stand where {claim.tag} does: keep one of them"
        return _asked(space, claim, claim.tag, said)
    return _decided(space, claim)


def _decided(space: Space, claim: Claim) -> Finding:
    """What type and path decide, with what its unit allows."""
    unit = unit_of(space, claim)
    if unit is None:
        said = f"{_no_unit(space, claim)}: write the right one when you confirm it"
        return _asked(space, claim, claim.tag, said)
    told = space.unit(claim.node)
    if told is not None and not becomes(told, claim.tag):
        meaning = meaning_of(claim.tag)
        means = f"{meaning.unit} {meaning.reference}".strip() if meaning is not None else ""
        said = (
            f"its unit {told.text or told.code} cannot become that of {claim.tag} ({means}): no rule sees it"
        )
        return _finding(space, claim, Standing.MAPPED, _neutral(claim), unit, reason=said)
    return _finding(space, claim, Standing.MAPPED, claim.tag, unit)


def _one_of(space: Space, claim: Claim, alike: Sequence[tuple[MachineName, str, int, str, int]]) -> Finding:
    """A variable of one of several machines that are alike: which of them is the line's is asked."""
    number = claim.machine.number or claim.inner
    if claim.machine.number and claim.inner:
        number = alike.index(claim.instance) + 1
    first, _, rest = claim.tag.partition(".")
    what = claim.row.family[1].removesuffix("_%") or claim.machine.kind
    said = f"there are several of {what}: is this the one that {first} means?"
    asked = _asked(space, claim, claim.tag, said)
    return replace(asked, path=f"{first}_{number}.{rest}")


def _odd(space: Space, claim: Claim, tag: str, reason: str) -> Finding:
    """A zone of a filter that may be no heater plate."""
    leaf = claim.tag.split(".", 3)[3]
    other = f"filter.discharge.{leaf}"
    if tag:
        return _asked(space, claim, other, reason)
    readings = tuple(t for t in (claim.tag, other) if meaning_of(t) is not None)
    return _asked(space, claim, "", reason, readings)


def _point(space: Space, claim: Claim, sight: _Sight) -> Finding:
    """A point of which only a free text tells where it is."""
    machine, folder, texts = claim.machine, claim.names[0], texts_of(space, claim)
    among = POINTS.get((machine.kind, folder))
    told, is_set = space.unit(claim.node), claim.names[-1] == "SetValue"
    if told is not None and told.code == "1":
        told = None  # which servers also tell where nobody set a unit
    alone = sight.points[machine.node.address, folder] == 1
    if folder != _VACUUM and not read_words(texts).concepts & _TELLING:
        can_be = tuple(t for t in among or () if t.endswith(".sp") == is_set)
        return _asked(space, claim, "", "no text tells where it measures", can_be)
    value = claim.node.told.value if claim.node.told is not None else None
    names = (*texts, _FOLDERS.get(folder, ""))
    hints = Hints(names, (machine.prefix,), told, number_of(value), space.span(claim.node), is_set)
    proposal = propose(hints, among, 1 if folder == _VACUUM and alone else None)
    if len(proposal.readings) != 1:
        return _asked(space, claim, "", proposal.reason, proposal.readings[:MOST_READINGS])
    reason = proposal.reason
    if folder == _VACUUM:
        reason += "; whether it is absolute pressure, as that tag is, is not told"
    elif machine.number:
        reason += f"; there are several of {machine.kind}: is it this one's?"
    return _asked(space, claim, proposal.readings[0], reason, (), proposal.confidence)


def _asked(
    space: Space,
    claim: Claim,
    tag: str,
    reason: str,
    readings: tuple[str, ...] = (),
    confidence: Confidence | None = None,
) -> Finding:
    """What is kept under a neutral name until a person has confirmed it."""
    unit = unit_of(space, claim) or unit_taken_for(tag)
    if tag and meaning_of(tag) is None:
        tag = ""
    return _finding(
        space, claim, Standing.CONFIRM, _neutral(claim), unit,
        becomes=tag, readings=readings, reason=reason,
        confidence=confidence or (Confidence.MEDIUM if tag else None),
    )  # fmt: skip


def _finding(
    space: Space,
    claim: Claim,
    standing: Standing,
    path: str,
    unit: str,
    *,
    becomes: str = "",
    readings: tuple[str, ...] = (),
    reason: str = "",
    confidence: Confidence | None = None,
) -> Finding:
    text = next(iter(texts_of(space, claim)), "")
    place = "/".join([claim.machine.node.name, *claim.names])
    return Finding(
        claim.node.address,
        place,
        standing,
        path,
        unit,
        text,
        becomes,
        readings,
        confidence,
        reason,
        claim.machine.label,
    )


def texts_of(space: Space, claim: Claim) -> tuple[str, ...]:
    """What people call the nearest thing above a variable that has a name: name and position."""
    for holder in reversed(claim.way[:-1]):
        told = [space.property(holder, name, None) for name in ("Name", "Position")]
        if said := tuple(t.strip() for t in told if isinstance(t, str) and t.strip()):
            return said
    return ()


def unit_of(space: Space, claim: Claim) -> str | None:
    """UCUM code of what a variable delivers; None where nobody says."""
    meaning = meaning_of(claim.tag) if claim.tag else None
    if meaning is not None and meaning.kind in (TagKind.CODE, TagKind.BOOLEAN):
        return "1"
    told, node = space.unit(claim.node), claim.node.told
    if (
        told is not None
        and told.code is not None
        and (told.code != "1" or meaning is None or meaning.unit == "1")
    ):
        return told.code
    if node is not None and node.data_type == DURATION:
        return "ms"
    needs_none = meaning.unit == "1" if meaning is not None else node is not None and node.counts
    return "1" if needs_none else None


def _neutral(claim: Claim) -> str:
    return neutral_path(claim.machine.prefix, claim.names)


def _no_unit(space: Space, claim: Claim) -> str:
    told = space.unit(claim.node)
    return (
        "the server tells no unit" if told is None else f"its unit '{told.text or told.number}' is not known"
    )
