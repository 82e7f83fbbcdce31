"""The eight figures that answer for a trial, each beside what the customer wants. Pure."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

from historian.errors import MeltledgerError
from historian.units import quantity
from trials.figures.figure import Figure
from trials.figures.measured import missing
from trials.figures.operating_point import OperatingPoint
from trials.outcome.outcome import Outcome
from trials.record.entries import What

THROUGHPUT: Final = "throughput, agreed"
FINENESS: Final = "fineness of the screen"
KEY: Final = (
    THROUGHPUT,
    FINENESS,
    "cleaning period",
    "discharge loss, gross",
    "pressure difference over the screen, P95",
    "temperature, melt before the screen",
    "specific energy, line",
    "pellet moisture",
)


class Verdict(StrEnum):
    """How a figure stands to what was wanted."""

    REACHED = "reached"
    MISSED = "not reached"
    NOT_TOLD_APART = "not told apart: the target lies within the uncertainty"
    NOT_SHOWN = "not shown in this trial"
    NO_TARGET = "no target"


@dataclass(frozen=True, slots=True)
class KeyFigure:
    """A figure and its target.

    Attributes:
        least, most: what the customer wants, in the figure's unit; None where nothing is wanted.
    """

    figure: Figure
    least: float | None
    most: float | None
    verdict: Verdict


def key_figures(outcome: Outcome, point: OperatingPoint) -> list[KeyFigure]:
    """The eight figures of an operating point, and after them what else has a target.

    A target of a figure that does not exist is a figure that was not shown.
    """
    targets = {str(t["figure"]): t for t in outcome.book.only(What.PLAN).get("target", [])}
    names = dict.fromkeys([*KEY, *targets])
    return [_beside(_figure(outcome, point, name), targets.get(name, {})) for name in names]


def verdict_of(figure: Figure, least: float | None, most: float | None) -> Verdict:
    """How a figure stands to its target; near the target the expanded uncertainty decides.

    Without uncertainty the bare value is compared, since nothing better is known.
    """
    if least is None and most is None:
        return Verdict.NO_TARGET
    if figure.value is None:
        return Verdict.NOT_SHOWN
    wide = figure.expanded or 0.0
    low, high = figure.value - wide, figure.value + wide
    if (least is None or low >= least) and (most is None or high <= most):
        return Verdict.REACHED
    if (least is not None and high < least) or (most is not None and low > most):
        return Verdict.MISSED
    return Verdict.NOT_TOLD_APART


def not_shown(keys: list[KeyFigure]) -> Iterator[tuple[str, str]]:
    """The figures that the trial did not show, each with the reason."""
    for key in keys:
        if key.figure.value is None:
            yield key.figure.name, key.figure.absent


def _beside(figure: Figure, target: Mapping[str, Any]) -> KeyFigure:
    try:
        least, most = (_bound(target.get(key), figure.unit) for key in ("least", "most"))
    except MeltledgerError as error:
        why = f"its target cannot be compared ({error})"
        unknown = Figure.of(figure.name, figure.unit, missing(why), figure.windows, figure.method)
        return KeyFigure(unknown, None, None, Verdict.NOT_SHOWN)
    return KeyFigure(figure, least, most, verdict_of(figure, least, most))


def _bound(written: object, unit: str) -> float | None:
    return None if written is None else quantity(str(written), unit)


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
