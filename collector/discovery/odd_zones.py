"""Which temperature zones of a filter may be no heater plates.

The standard has one folder for all zones of a filter. Zone 3 is plate 3, but one zone more may be the
discharge block (common practice, no source). Numbers in people's names for zones are never read.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import Final

from collector.discovery.companion import Claim
from collector.discovery.space import Space
from collector.discovery.words import read_words, same_words

DISCHARGE: Final = "filter.discharge"

_PLATES: Final = {"plate", "zone", "heater", "filter"}
_WORD: Final = re.compile(r"[^\W\d_]{4,}")


def odd_zones(space: Space, claims: Sequence[Claim]) -> dict[tuple[str, int], tuple[str, str]]:
    """(What it is proposed to be or empty, why) for each machine and zone that is in doubt."""
    found: dict[tuple[str, int], tuple[str, str]] = {}
    for machine in {c.machine.node.address for c in claims if c.machine.kind == "Filter"}:
        names = {
            c.place: _name(space, c)
            for c in claims
            if c.machine.node.address == machine and c.place is not None and c.names[0] == "TemperatureZones"
        }
        found |= {(machine, place): doubt for place, doubt in _doubts(names)}
    return found


def _doubts(names: Mapping[int, str]) -> Iterator[tuple[int, tuple[str, str]]]:
    said = {p for p, name in names.items() if "discharge" in read_words([name]).concepts}
    for place in said:
        yield place, (DISCHARGE, "its name says that it is the discharge block, not a heater plate")
    others = {p: same_words(name) for p, name in names.items() if p not in said}
    common = _common(list(others.values()))
    if common is not None:
        for place in (p for p, words in others.items() if words != common):
            yield place, ("", "it is called otherwise than the other zones: heater plate or discharge block?")
    elif not said and others:
        yield max(others), ("", "names do not tell which zone is the discharge block; it may be the last one")


def _common(names: Sequence[str]) -> str | None:
    """What all but two zones at most are called, when that is a word; None otherwise."""
    if not names:
        return None
    words, times = Counter(names).most_common(1)[0]
    tells = bool(_WORD.search(words)) or bool(read_words([words]).concepts & _PLATES)
    return words if tells and times >= min(len(names), max(2, len(names) - 2)) else None


def _name(space: Space, claim: Claim) -> str:
    told = space.property(claim.way[1], "Name", None)
    return told.strip() if isinstance(told, str) else ""
