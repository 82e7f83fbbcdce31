"""Which time of a trial figures may speak of: steady, without what would mislead, long enough to be valid."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from process.cycles import Cycle
from process.phase_names import STEADY
from process.phases import Phase
from process.steady_state import SteadyTest
from rules.review import Spell, Window
from rules.review.spells import without
from trials.figures.cleaning import whole_periods
from trials.figures.figure import VALID_SHARE, Figure
from trials.figures.measured import Measured, missing
from trials.figures.trace import NS, Traces
from trials.figures.weighting import NO_WINDOW, apart, held, why_not

LEAST_STEADY_S = 1800.0
LEAST_CLEANINGS, FEW_LONG_CLEANINGS, LONG_INTERVAL_S = 8, 3, 600.0
LEAST_PELLET_SAMPLES = 2
CLEANING_MARGIN_S = 30.0
KEY_TAGS = (
    "doser.rate.pv",
    "filter.inlet.pressure.pv",
    "filter.outlet.pressure.pv",
    "die.pressure.pv",
    "extruder.melt.temp.pv",
    "extruder.screw.speed.pv",
)
"""common practice, no source: all."""
STEADY_TAGS = ("doser.rate.pv", "extruder.melt.temp.pv", "extruder.screw.speed.pv")
"""Pressures are not among them: between cleanings they rise by design."""
_TEST_STEP_S = 30.0


def steady_windows(phases: Iterable[Phase], excluded: Iterable[Window] = ()) -> tuple[Window, ...]:
    """The steady phases, less what must not count.

    Args:
        excluded: a zone out of use, a torn screen, a material change, each with what follows it.
    """
    steady = [Spell(p.start_ns, p.end_ns) for p in phases if p.name == STEADY]
    left = without(steady, [Spell(w.start_ns, w.end_ns) for w in excluded], 0)
    return tuple(Window(s.start_ns, s.until(0)) for s in left)


def without_cleanings(
    windows: Sequence[Window], cycles: Sequence[Cycle], margin_s: float = CLEANING_MARGIN_S
) -> tuple[Window, ...]:
    """The windows without the time in which the wiper ran, and a margin on both sides."""
    margin_ns = round(margin_s * NS)
    wiped = [Spell(c.start_ns - margin_ns, c.end_ns + margin_ns) for c in cycles]
    left = without([Spell(w.start_ns, w.end_ns) for w in apart(windows)], wiped, 0)
    return tuple(Window(s.start_ns, s.until(0)) for s in left)


def why_indicative(
    traces: Traces,
    cycles: Sequence[Cycle],
    windows: Sequence[Window],
    *,
    pellet_samples_ns: Sequence[int] = (),
    screen_known: bool = True,
    clock_doubtful: bool = False,
) -> tuple[str, ...]:
    """What keeps figures of these windows from being valid, each a sentence; empty when nothing does."""
    within = apart(windows)
    if not within:
        return (f"There is no steady time: {NO_WINDOW}.",)
    long_s = sum(w.s for w in within)
    reasons = []
    if long_s < LEAST_STEADY_S:
        reasons.append(f"Steady for {long_s / 60:.0f} min; {LEAST_STEADY_S / 60:.0f} min are asked for.")
    periods = whole_periods(cycles, windows)
    slow = bool(periods) and float(np.median([c.period_s for c in periods])) >= LONG_INTERVAL_S
    least = FEW_LONG_CLEANINGS if slow else LEAST_CLEANINGS
    if len(periods) < least:
        reasons.append(f"{len(periods)} whole cleaning periods; {least} are asked for.")
    for path in KEY_TAGS:
        share = held(traces[path], windows).share if path in traces else 0.0
        if share < VALID_SHARE:
            reasons.append(f"{path} is known for {100 * share:.0f} % of the time.")
    samples = sum(any(t in w for w in within) for t in pellet_samples_ns)
    if samples < LEAST_PELLET_SAMPLES:
        reasons.append(f"{samples} pellet samples; {LEAST_PELLET_SAMPLES} are asked for.")
    if not screen_known:
        reasons.append("Which screen was in use is not told.")
    if clock_doubtful:
        reasons.append("A clock was set, and nobody has confirmed by how much.")
    return tuple(reasons)


def steadiness_figure(
    traces: Traces,
    path: str,
    windows: Sequence[Window],
    test: SteadyTest | None = None,
    step_s: float = _TEST_STEP_S,
) -> Figure:
    """For how much of the time a signal stood still, by the ratio of two variances.

    Args:
        test: its filters; None: the usual ones.
        step_s: time from one sample to the next that is looked at, longer than the noise holds together.
    """
    one = test if test is not None else SteadyTest()
    method = (
        f"Share of the samples, one in {step_s:g} s, at which the ratio of two variances lies below "
        f"{one.critical:g}: 95 % for noise alone."
    )
    why = why_not(traces, path, windows)
    measured = missing(why, path)
    if not why:
        shares, judged = 0.0, 0
        for window in apart(windows):
            at = np.arange(window.start_ns, window.end_ns, round(step_s * NS), dtype=np.int64)
            ratios = one.ratios(traces[path].at(at))
            ratios = ratios[~np.isnan(ratios)]
            shares, judged = shares + float(np.sum(ratios <= one.critical)), judged + len(ratios)
        measured = (
            Measured(100 * shares / judged, tags=(path,))
            if judged
            else missing("the windows are too short for the test's filters to settle, or nothing moves", path)
        )
    remarks = ["Slow waves lower it, however small they are beside what matters."]
    return Figure.of(f"steadiness, {path}", "%", measured, windows, method, remarks)
