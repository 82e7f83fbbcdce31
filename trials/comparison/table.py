"""The table of a comparison: a row a figure, a column a side, and the differences from the first side."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

from historian.errors import WrongInput
from trials.comparison.difference import Difference, difference
from trials.comparison.side import Side
from trials.comparison.unlike import Trait, Unlike, unlike
from trials.figures.figure import Figure
from trials.figures.filtration import filtration_figure
from trials.figures.measured import missing
from trials.figures.operating_point import Facts
from trials.figures.resistance import Reference, resistance_figures

AT_REFERENCE = "pressure difference at the reference"
LOAD = "filtration load"


@dataclass(frozen=True, slots=True)
class Row:
    """One figure of all sides.

    Attributes:
        figures: one a side; without a value where a side has none.
        differences: of each side but the first, from the first.
    """

    name: str
    unit: str
    figures: tuple[Figure, ...]
    differences: tuple[Difference, ...]


@dataclass(frozen=True, slots=True)
class Comparison:
    """Some sides beside each other.

    Attributes:
        sides: the first is what the others are compared with.
        reference: throughput and temperature that pressures of all sides were brought to; None: none is told.
        rows: in the order of a report.
        unlike: for each side but the first, in what it is not like the first.
    """

    sides: tuple[Side, ...]
    reference: Reference | None
    rows: tuple[Row, ...]
    unlike: tuple[tuple[Unlike, ...], ...]

    def row(self, name: str) -> Row:
        """The row of a figure.

        Raises:
            KeyError: there is none.
        """
        for one in self.rows:
            if one.name == name:
                return one
        raise KeyError(name)


def compare(sides: Sequence[Side], across: Collection[Trait] = ()) -> Comparison:
    """All figures of some sides, and how the others differ from the first.

    Pressures at a reference are brought to the reference of the first side that has one, for all sides.

    Args:
        sides: at least two.
        across: what is told to differ on purpose, such as the fineness where screens are compared.

    Raises:
        WrongInput: there are fewer than two sides, or two of one name.
    """
    names = [s.name for s in sides]
    if len(sides) < 2:
        raise WrongInput("a comparison needs two sides; name another trial, operating point or screen")
    if len(set(names)) < len(names):
        twice = next(n for n in names if names.count(n) > 1)
        raise WrongInput(f"'{twice}' stands on two sides; name each side once")
    reference = next((s.facts.reference for s in sides if s.facts.reference is not None), None)
    figures = [_at(side, reference) for side in sides]
    beside = tuple(tuple(unlike(sides[0], other, across)) for other in sides[1:])
    why = [" ".join(u.sentence for u in one if u.bars_judging) for one in beside]
    rows = []
    for name in dict.fromkeys(name for one in figures for name in one):
        its = [one.get(name) for one in figures]
        known = next(f for f in its if f is not None)
        whole = tuple(f if f is not None else _lacking(known) for f in its)
        differences = tuple(
            difference(whole[0], f, w, same_sensors=s.trial == sides[0].trial)
            for f, w, s in zip(whole[1:], why, sides[1:], strict=True)
        )
        rows.append(Row(name, known.unit, whole, differences))
    return Comparison(tuple(sides), reference, tuple(rows), beside)


def _lacking(known: Figure) -> Figure:
    """The figure of a side that has none of that name, such as a plate that another filter does not have."""
    return Figure.of(known.name, known.unit, missing("this side has no such figure"), (), known.method)


def _at(side: Side, reference: Reference | None) -> dict[str, Figure]:
    """The figures of a side, those at a reference at the common one."""
    figures = {f.name: f for f in side.figures.figures}
    if reference is None or reference == side.facts.reference:
        return figures
    facts = replace(side.facts, reference=reference)
    figures |= {f.name: f for f in _brought(side, facts) if f.name in figures}
    return figures


def _brought(side: Side, facts: Facts) -> list[Figure]:
    windows = side.figures.windows
    pressures = resistance_figures(
        side.traces,
        windows,
        screen=facts.screen,
        melt=facts.melt,
        reference=facts.reference,
        planned_kg_h=facts.planned_kg_h,
    )
    load = filtration_figure(
        side.traces,
        side.cleanings,
        windows,
        screen=facts.screen,
        melt=facts.melt,
        reference=facts.reference,
        planned_kg_h=facts.planned_kg_h,
    )
    return [f for f in (*pressures, load) if f.name in (AT_REFERENCE, LOAD)]
