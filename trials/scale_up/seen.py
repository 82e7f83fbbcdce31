"""What a trial has shown that a scale-up may lean on, or why it may not."""

from __future__ import annotations

from dataclasses import dataclass, field
from statistics import fmean

from historian.frame import NS
from process.scale_up import Saw, Scatter
from trials.figures.cleaning import whole_periods
from trials.figures.figure import Figure
from trials.outcome import Outcome, Point

SHORT_S = 2 * 3600.0
FEW_CLEANINGS = 20
"""A shorter trial, or one with fewer cleanings, has seen too few bales. common practice, no source: both."""
_MELT = "temperature, melt at the screw tip"


@dataclass(frozen=True, slots=True)
class Seen:
    """One operating point, as a scale-up needs it.

    Attributes:
        name: of trial and operating point.
        refused: why nothing can be scaled up from it, each a sentence; empty when something can.
        specific_kg_h_cm2, specific_share: specific throughput, and its standard uncertainty as a share; None
            when that is not known.
        area_cm2, fineness_um: of the screen.
        saw: pressures and interval; means over whole cleaning periods.
        exponent: n of the melt; None: not told.
        steady_s, cleanings: how long it ran, and how many whole periods lie in that.
        melt_cel: melt temperature; None: not known.
        law: the blocking law in words.
        doubts: what keeps the point from being valid, each a sentence.
    """

    name: str
    refused: tuple[str, ...] = ()
    specific_kg_h_cm2: float = 0.0
    specific_share: float | None = None
    area_cm2: float = 0.0
    fineness_um: float = 0.0
    saw: Saw = field(default_factory=lambda: Saw(0.0, 0.0, 0.0))
    exponent: float | None = None
    steady_s: float = 0.0
    cleanings: int = 0
    melt_cel: float | None = None
    law: str = ""
    doubts: tuple[str, ...] = ()

    @property
    def flow_kg_h(self) -> float:
        """What went through the screen."""
        return self.specific_kg_h_cm2 * self.area_cm2

    @property
    def short(self) -> bool:
        """Whether it ran too shortly to have seen how dirty the material is."""
        return self.steady_s < SHORT_S or self.cleanings < FEW_CLEANINGS

    @property
    def scatter(self) -> Scatter:
        """How far off the scaled figures may be."""
        usual = Scatter()
        own = max(usual.specific, self.specific_share or 0.0)
        wide = Scatter(own, usual.viscosity, usual.dirt, usual.model, usual.exponent)
        return wide.of_short_trial if self.short else wide


def seen_of(outcome: Outcome, point: Point | None = None) -> Seen:
    """What an operating point has shown.

    Args:
        point: the one that answers for the trial when left out.
    """
    one = point if point is not None else outcome.main
    if one is None or not one.windows:
        return Seen(
            outcome.trial.name, ("The trial has no steady window: nothing can be scaled up from it.",)
        )
    name = f"{outcome.trial.name}, {one.name}"
    refused: list[str] = []

    def figure(of: str) -> Figure | None:
        found = next((f for f in one.figures.figures if f.name == of), None)
        if found is None or found.value is None:
            why = found.absent if found is not None else "it was not computed"
            refused.append(f"The {of} is not known: {why}.")
            return None
        return found

    specific = figure("specific throughput of the screen")
    screen = one.facts.screen
    if screen is not None and screen.hole_um is None:
        refused.append("The fineness of the screen is not told.")
    periods = whole_periods(outcome.timeline.cleanings, one.windows)
    saw = Saw(0.0, 0.0, 0.0)
    if not periods:
        refused.append("No whole cleaning period lies in the steady window.")
    else:
        saw = Saw(
            fmean(c.trough_bar for c in periods),
            fmean(c.peak_bar for c in periods),
            fmean(c.period_s for c in periods),
            fmean((c.end_ns - c.start_ns) / NS for c in periods),
        )
        if not saw.whole:
            refused.append("The pressure difference does not rise and fall with the cleanings.")
    fit = one.figures.blocking.fit
    if fit is not None and fit.wiping_helps is False:
        refused.append(
            f"The screen followed another law than a cake ({one.figures.blocking.words}): the rule for the "
            "interval holds for a cake only."
        )
    warm = next(
        (f.value for f in one.figures.figures if f.name == "temperature, melt at the screw tip"), None
    )
    known = specific.value if specific is not None and specific.value is not None else 0.0
    uncertain = specific.standard_uncertainty if specific is not None else None
    return Seen(
        name,
        tuple(refused),
        known,
        None if uncertain is None or not known > 0 else uncertain / known,
        screen.area_cm2 if screen is not None else 0.0,
        (screen.hole_um or 0.0) if screen is not None else 0.0,
        saw,
        one.facts.melt.exponent if one.facts.melt is not None else None,
        sum(w.s for w in one.windows),
        len(periods),
        warm,
        one.figures.blocking.words,
        one.figures.indicative,
    )
