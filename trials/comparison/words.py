"""A comparison in words and as a table, as a verb or a report prints it."""

from __future__ import annotations

from historian.units import shown_unit
from trials.comparison.difference import Difference, Verdict
from trials.comparison.table import Comparison
from trials.figures.figure import Figure

INDEPENDENT = (
    "The uncertainty of a difference between trials takes both figures as independent; where the same "
    "sensors measured both it is rather too large."
)
COMMON = "Within a trial, what the same sensor is off by cancels in a difference."


def header_of(comparison: Comparison) -> tuple[str, ...]:
    """Names of the columns."""
    first, *others = (s.name for s in comparison.sides)
    return ("figure", "unit", first, *(part for name in others for part in (name, "difference", "verdict")))


def rows_of(comparison: Comparison) -> list[tuple[str, ...]]:
    """A row for each figure that at least one side has, below ``header_of``."""
    rows = []
    for row in comparison.rows:
        if all(f.value is None for f in row.figures):
            continue
        cells = [row.name, shown_unit(row.unit), _shown(row.figures[0])]
        for figure, found in zip(row.figures[1:], row.differences, strict=True):
            cells += [_shown(figure), _difference(found), _verdict(found)]
        rows.append(tuple(cells))
    return rows


def sentences_of(comparison: Comparison) -> list[str]:
    """What stands beside the table."""
    told = [u.sentence for one in comparison.unlike for u in one]
    if any(u.bars_judging for one in comparison.unlike for u in one):
        told.append(
            "Differences between sides that are not alike are shown and not judged; say what is meant to "
            "differ, and they are."
        )
    if comparison.reference is not None:
        told.append(
            f"Pressures at the reference: {comparison.reference.flow_kg_h:.0f} kg/h at "
            f"{comparison.reference.melt_cel:.0f} °C for all sides."
        )
    for side in comparison.sides:
        told += [f"{side.name} is indicative: {why}" for why in side.figures.indicative]
    lacking = [r for r in comparison.rows if all(f.value is None for f in r.figures)]
    if lacking:
        told.append(f"{len(lacking)} figures are known of no side: {', '.join(r.name for r in lacking)}.")
    told += [
        f"{row.name}, {side.name}: {figure.absent}."
        for row in comparison.rows
        if row not in lacking
        for side, figure in zip(comparison.sides, row.figures, strict=True)
        if figure.value is None
    ]
    within = [s.trial == comparison.sides[0].trial for s in comparison.sides[1:]]
    told += [COMMON] * any(within) + [INDEPENDENT] * (not all(within))
    return list(dict.fromkeys(told))


def _shown(figure: Figure) -> str:
    if figure.value is None:
        return "not known"
    wide = figure.expanded
    return _plain(figure.value) if wide is None else f"{_plain(figure.value)} ± {_plain(wide, 2)}"


def _plain(value: float, digits: int = 3) -> str:
    """With so many significant digits, and no power of ten where it can be helped."""
    return f"{float(f'{value:.{digits}g}'):g}"


def _difference(found: Difference) -> str:
    if found.value is None:
        return ""
    percent = "" if found.percent is None else f" ({_signed(found.percent, 2)} %)"
    wide = "" if found.expanded is None else f" ± {_plain(found.expanded, 2)}"
    return f"{_signed(found.value, 3)}{wide}{percent}"


def _signed(value: float, digits: int) -> str:
    return f"{'+' if value > 0 else ''}{_plain(value, digits)}"


def _verdict(found: Difference) -> str:
    return "" if found.verdict is Verdict.NONE else str(found.verdict)
