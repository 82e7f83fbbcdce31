"""The checks before a trial as a table and as sentences, as a verb or a report prints them."""

from __future__ import annotations

from collections.abc import Sequence

from historian.units import shown_unit
from trials.preanalysis.check import Check, Verdict

HEADER = ("check", "figure", "limit", "verdict")

_OPEN = (Verdict.NOT_ASSESSED, Verdict.NOT_KNOWN, Verdict.NO_LIMIT, Verdict.UNSURE)


def rows_of(checks: Sequence[Check]) -> list[tuple[str, ...]]:
    """A row for each check, below ``HEADER``."""
    return [(c.name, _number(c.value, c.unit), _number(c.limit, c.unit), str(c.verdict)) for c in checks]


def sentences_of(checks: Sequence[Check]) -> list[str]:
    """A sentence for each check, its caution once, and what is left open."""
    told = [c.sentence for c in checks]
    told += [f"Mind: {caution}" for caution in dict.fromkeys(c.caution for c in checks)]
    left = [c.name for c in checks if c.verdict in _OPEN]
    beyond = [c.name for c in checks if c.verdict in (Verdict.BEYOND, Verdict.FOUND)]
    if beyond:
        told.append(f"Beyond its limit, or found: {', '.join(beyond)}.")
    if left:
        told.append(f"Left open: {', '.join(left)}.")
    told.append(
        "These checks are calculations from what was told and release nothing; the trial engineer decides."
    )
    return told


def _number(value: float | None, unit: str) -> str:
    if value is None:
        return "–"
    return f"{float(f'{value:.3g}'):g} {shown_unit(unit)}"
