"""All figures of one operating point of a trial, in the order in which a report tells them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from process.cycles import Cycle
from process.pellets import Cut
from rules.review import Window
from trials.bars import AlarmBar
from trials.figures.alarm_load import alarm_figures
from trials.figures.balances import dirt_figures, mass_figures
from trials.figures.blocking import BlockingVerdict, blocking_verdict
from trials.figures.cleaning import DISCHARGE, cleaning_figures
from trials.figures.counter import rate_per_h
from trials.figures.energy import energy_figures
from trials.figures.figure import Figure
from trials.figures.filtration import filtration_figure
from trials.figures.measured import Measured
from trials.figures.pellets import Sample, pellet_figures
from trials.figures.pressures import pressure_figures
from trials.figures.residence import Vessel, residence_figures
from trials.figures.resistance import Melt, Reference, ScreenInUse, resistance_figures
from trials.figures.temperatures import temperature_figures
from trials.figures.throughput import MaterialHeat, throughput_figures
from trials.figures.trace import Traces
from trials.figures.windows import STEADY_TAGS, steadiness_figure, why_indicative


@dataclass(frozen=True, slots=True)
class Facts:
    """What is told of line, material and samples; what is None or empty was not told.

    Attributes:
        planned_kg_h: planned throughput.
        screen, melt, heat, cut, reference, vessels: see their classes.
        heaters_kw: path of a zone's output → nominal kW.
        shaft_share: share of the drive's power that reaches the melt.
        solid_density_kg_m3: of the pellets.
        moisture_percent: of the feed; feed_dirt, discharge_dirt, pellet_dirt: shares, 0 to 1.
        clean_dp_bar: pressure difference over the clean screen at this operating point.
        moisture_samples: pellets' moisture, %, with the time of each.
        pellet_samples_ns: when pellets were taken.
    """

    planned_kg_h: float | None = None
    screen: ScreenInUse | None = None
    melt: Melt | None = None
    heat: MaterialHeat | None = None
    cut: Cut | None = None
    reference: Reference | None = None
    vessels: tuple[Vessel, ...] = ()
    heaters_kw: Mapping[str, float] = field(default_factory=dict)
    shaft_share: Measured | None = None
    solid_density_kg_m3: Measured | None = None
    moisture_percent: Measured | None = None
    feed_dirt: Measured | None = None
    discharge_dirt: Measured | None = None
    pellet_dirt: Measured | None = None
    clean_dp_bar: Measured | None = None
    moisture_samples: tuple[Sample, ...] = ()
    pellet_samples_ns: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class OperatingPoint:
    """One row of a trial.

    Attributes:
        windows: the time that it speaks of; never of two operating points.
        figures: in the order of a report.
        blocking: the law that the screen follows.
        indicative: why the figures are not valid but indicative; empty when they are valid.
    """

    windows: tuple[Window, ...]
    figures: tuple[Figure, ...]
    blocking: BlockingVerdict
    indicative: tuple[str, ...]

    def figure(self, name: str) -> Figure:
        """The figure of that name.

        Raises:
            KeyError: there is none.
        """
        for one in self.figures:
            if one.name == name:
                return one
        raise KeyError(name)


def operating_point(
    traces: Traces,
    cycles: Sequence[Cycle],
    windows: Sequence[Window],
    facts: Facts,
    bars: Sequence[AlarmBar] | None = None,
) -> OperatingPoint:
    """All figures over the windows of one operating point.

    Args:
        traces: path → samples; tags that are not there make the figures that need them absent.
        cycles: cleanings of the whole trial.
        windows: steady time (see ``trials.figures.windows``); empty: every figure is absent.
        bars: alarms; None: no rules judged the trial.
    """
    plan = facts.planned_kg_h
    blocking = blocking_verdict(traces, cycles, windows, facts.melt.exponent if facts.melt else None)
    discharged = rate_per_h(traces, DISCHARGE, windows)
    figures = [
        *throughput_figures(traces, windows, planned_kg_h=plan, heat=facts.heat, losses_kg_h=discharged),
        *resistance_figures(
            traces,
            windows,
            screen=facts.screen,
            melt=facts.melt,
            reference=facts.reference,
            planned_kg_h=plan,
        ),
        *pressure_figures(traces, windows),
        *cleaning_figures(
            traces,
            cycles,
            windows,
            clean_dp_bar=facts.clean_dp_bar,
            dirt_share=facts.discharge_dirt,
            planned_kg_h=plan,
        ),
        filtration_figure(
            traces,
            cycles,
            windows,
            screen=facts.screen,
            melt=facts.melt,
            reference=facts.reference,
            planned_kg_h=plan,
        ),
        blocking.figure,
        *temperature_figures(traces, windows),
        *energy_figures(
            traces,
            windows,
            heaters=facts.heaters_kw,
            heat=facts.heat,
            shaft_share=facts.shaft_share,
            planned_kg_h=plan,
        ),
        *residence_figures(
            traces,
            windows,
            facts.vessels,
            facts.melt.density_kg_m3 if facts.melt else None,
            planned_kg_h=plan,
        ),
        *mass_figures(traces, windows, moisture_percent=facts.moisture_percent, planned_kg_h=plan),
        *dirt_figures(
            traces,
            windows,
            feed_share=facts.feed_dirt,
            discharge_share=facts.discharge_dirt,
            pellet_share=facts.pellet_dirt,
            planned_kg_h=plan,
        ),
        *pellet_figures(
            traces,
            windows,
            cut=facts.cut,
            solid_density_kg_m3=facts.solid_density_kg_m3,
            moisture_samples=facts.moisture_samples,
            planned_kg_h=plan,
        ),
        *alarm_figures(bars, windows),
        *(steadiness_figure(traces, path, windows) for path in STEADY_TAGS),
    ]
    indicative = why_indicative(
        traces,
        cycles,
        windows,
        pellet_samples_ns=facts.pellet_samples_ns,
        screen_known=facts.screen is not None,
    )
    return OperatingPoint(tuple(windows), tuple(figures), blocking, indicative)
