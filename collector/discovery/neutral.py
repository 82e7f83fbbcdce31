"""Neutral names: tag paths that say where a value stands and nothing about what it means."""

from __future__ import annotations

import hashlib
import re
import unicodedata
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Final

from collector.discovery.finding import Finding, Standing

FOUND: Final = "found"
"""First word of every neutral path outside of the machines that a standard describes."""

_ENDINGS: Final = {"actual_value": "pv", "set_value": "sp"}
_SPELLED: Final = str.maketrans({"ß": "ss", "ä": "ae", "ö": "oe", "ü": "ue", "Ä": "Ae", "Ö": "Oe", "Ü": "Ue"})
_LONGEST: Final = 150  # characters; a tag's path may have 200


def word_of(name: str) -> str:
    """A browse name as one word of a path.

    Example:
        >>> word_of("MeltPressureZones"), word_of("Größe_3"), word_of("PT 101.A")
        ('melt_pressure_zones', 'groesse_3', 'pt_101_a')
    """
    spelled = name.translate(_SPELLED)
    plain = unicodedata.normalize("NFKD", spelled).encode("ascii", "ignore").decode()
    parted = re.sub(r"(?<=[a-z0-9])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])", "_", plain)
    return re.sub(r"[^a-z0-9]+", "_", parted.lower()).strip("_") or "x"


def neutral_path(first: str, names: Sequence[str]) -> str:
    """The neutral path of a variable.

    Args:
        first: its first word.
        names: browse names down to it.

    Example:
        >>> neutral_path("filter", ["MeltPressureZones", "Druck_3", "ActualValue"])
        'filter.melt_pressure_zones.druck_3.pv'
    """
    words = [word_of(name) for name in names] or ["x"]
    if len(words) > 1:
        words[-1] = _ENDINGS.get(words[-1], words[-1])
    path = ".".join([first, *words])
    return path if len(path) <= _LONGEST else f"{first}.{_mark(path)}.{words[-1][:40]}"


def told_apart(findings: Iterable[Finding]) -> list[Finding]:
    """The findings with neutral paths that differ, whatever order they come in; mapped ones keep theirs."""
    listed = list(findings)
    times = Counter(f.path for f in listed)
    return [
        f
        if times[f.path] == 1 or f.standing is Standing.MAPPED
        else replace(f, path=f"{f.path}_{_mark(f.address)}")
        for f in listed
    ]


def _mark(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:8]
