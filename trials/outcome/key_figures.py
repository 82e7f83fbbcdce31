"""The eight figures that answer for a trial, each beside what the customer wants. Pure."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from historian.units import quantity
from trials.figures.figure import Figure
from trials.figures.measured import missing
from trials.figures.operating_point import OperatingPoint
from trials.outcome.outcome import Outcome
from trials.outcome.targets import (
    ENERGY,
    INTERVAL,
    LOSS,
    MELT,
    MOISTURE,
    THROUGHPUT,
    Key,
    Target,
    Verdict,
)
from trials.record.entries import What

FINENESS: Final = "fineness of the screen"
_DIFFERENCE: Final = Key(("pressure difference over the screen, P95",), ("pressure difference",))
_KEYS: Final = (
    THROUGHPUT,
    Key((FINENESS,), ("fineness",)),
    INTERVAL,
    LOSS,
    _DIFFERENCE,
    MELT,
    ENERGY,
    MOISTURE,
)


@dataclass(frozen=True, slots=True)
class KeyFigure:
    """A figure and its target.

    Attributes:
        target: what the customer wants; None where nothing is wanted.
        verdict: None where nothing is wanted and the figure has a value.
    """

    figure: Figure
    target: Target | None
    verdict: Verdict | None


def key_figures(outcome: Outcome, point: OperatingPoint) -> list[KeyFigure]:
    """The eight figures of an operating point, and after them what else has a target.

    A target of a figure that does not exist is a figure that was not shown.
    """
    targets = [Target.of(t) for t in outcome.book.only(What.PLAN).get("target", [])]
    found = []
    for key in _KEYS:
        its = next((t for t in targets if key.is_meant(t)), None)
        found.append(_beside(_first(outcome, point, key.names), its))
    others = [t for t in targets if not any(key.is_meant(t) for key in _KEYS)]
    return [*found, *(_beside(_first(outcome, point, (t.figure,)), t) for t in others)]


def not_shown(keys: Sequence[KeyFigure]) -> Iterator[tuple[str, str]]:
    """The figures that the trial did not show, each with the reason."""
    for key in keys:
        if key.figure.value is None:
            yield key.figure.name, key.figure.absent


def _beside(figure: Figure, target: Target | None) -> KeyFigure:
    if target is None:
        return KeyFigure(figure, None, Verdict.NOT_SHOWN if figure.value is None else None)
    return KeyFigure(figure, target, target.verdict(figure))


def _first(outcome: Outcome, point: OperatingPoint, names: Sequence[str]) -> Figure:
    """The first figure of these names that has a value; else the first one, which says why it has none."""
    each = [_figure(outcome, point, name) for name in names]
    return next((f for f in each if f.value is not None), each[0])


def _figure(outcome: Outcome, point: OperatingPoint, name: str) -> Figure:
    if name == FINENESS:
        return _fineness(outcome, point)
    try:
        return point.figure(name)
    except KeyError:
        return Figure.of(name, "1", missing("there is no figure of that name"), (), "")


def _fineness(outcome: Outcome, point: OperatingPoint) -> Figure:
    """The screen that was in at this operating point; it is told, not measured."""
    serial = next((p.screen for p in outcome.points if p.figures is point), "")
    screens = [e.data for e in outcome.book.all_of(What.SCREEN) if str(e.data["serial"]) == serial]
    told_um = quantity(str(screens[-1]["fineness"]), "um") if screens else None
    if told_um is None and outcome.line.melt_filter is not None:
        told_um = outcome.line.melt_filter.fineness_um
    why = "" if told_um is not None else "which screen was in use is not told"
    return Figure(FINENESS, told_um, "um", point.windows, "As told; its maker's fineness.", absent=why)
