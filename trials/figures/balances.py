"""Whether what came in also went out: the mass of the line, and its dirt."""

from __future__ import annotations

from collections.abc import Sequence

from process.balance import MOST_CLOSURE, dirt_balance
from process.moisture import water_kg_h
from rules.review import Window
from trials.figures.cleaning import DISCHARGE
from trials.figures.counter import rate_per_h
from trials.figures.figure import Figure
from trials.figures.measured import Measured, derived, told
from trials.figures.throughput import by_doser, by_scale, flow_that_counts
from trials.figures.trace import Traces


def mass_figures(
    traces: Traces,
    windows: Sequence[Window],
    *,
    moisture_percent: Measured | None = None,
    planned_kg_h: float | None = None,
) -> list[Figure]:
    """Feed, less pellets, less discharge, less steam: what of the feed is not found again.

    Args:
        moisture_percent: of the feed, all of which is taken to leave by the vents; None: not known, and then
            it is part of what is not found again.
    """
    feed = flow_that_counts(by_doser(traces, windows), planned_kg_h)
    pellets = flow_that_counts(by_scale(traces, windows), planned_kg_h)
    discharge = rate_per_h(traces, DISCHARGE, windows)
    wet = (
        moisture_percent if moisture_percent is not None and moisture_percent.known else told(0.0, "moisture")
    )

    def open_percent(came: float, went: float, dirt: float, moisture: float) -> float:
        return 100 * (came - went - dirt - water_kg_h(moisture, came)) / came

    measured = derived(open_percent, feed, pellets, discharge, wet)
    remarks = []
    if moisture_percent is None or not moisture_percent.known:
        remarks.append("The moisture of the feed is not known: its steam is in this figure.")
    if measured.standard is not None and abs(measured.value) > 2 * measured.standard:
        remarks.append("It is more than the uncertainty of the readings explains.")
    return [
        Figure.of(
            "discharge rate", "kg/h", discharge, windows, "What the discharge scale counted over time."
        ),
        Figure.of(
            "mass not found again",
            "%",
            measured,
            windows,
            "Feed less pellets, discharge and steam, over feed; what the line holds is taken as constant.",
            remarks,
        ),
    ]


def dirt_figures(
    traces: Traces,
    windows: Sequence[Window],
    *,
    feed_share: Measured | None = None,
    discharge_share: Measured | None = None,
    pellet_share: Measured | None = None,
    planned_kg_h: float | None = None,
) -> list[Figure]:
    """How the balance of dirt closes, and what of it was separated.

    Args:
        feed_share, discharge_share, pellet_share: dirt in each by the laboratory, 0 to 1; None: not known.
            From ash they count minerals only.
    """
    inputs = [
        flow_that_counts(by_doser(traces, windows), planned_kg_h),
        feed_share if feed_share is not None else told(None, "the share of dirt in the feed"),
        rate_per_h(traces, DISCHARGE, windows),
        discharge_share if discharge_share is not None else told(None, "the share of dirt in the discharge"),
        pellet_share if pellet_share is not None else told(None, "the share of dirt in the pellets"),
    ]
    closure = derived(
        lambda *given: 100 * dirt_balance(*given).closure, *inputs, otherwise="no dirt came with the feed"
    )
    # Not ``separated``: its limit would make a step within the uncertainty.
    separated = derived(
        lambda *given: 100 * dirt_balance(*given).discharged_kg_h / dirt_balance(*given).in_kg_h, *inputs
    )
    if closure.known:
        separated = separated.unless(
            closure.value > 100 * MOST_CLOSURE,
            f"the balance of dirt is {closure.value:.0f} % open, more than {100 * MOST_CLOSURE:.0f} %",
        )
    return [
        Figure.of(
            "opening of the dirt balance",
            "%",
            closure,
            windows,
            "Dirt in less dirt found again, over dirt in.",
        ),
        Figure.of("dirt separated", "%", separated, windows, "Dirt in the discharge over dirt in the feed."),
    ]
