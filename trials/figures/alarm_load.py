"""How many alarms called a person during the window, and how closely they came."""

from __future__ import annotations

from collections.abc import Sequence
from math import sqrt

import numpy as np

from historian.frame import NS
from rules.review import Window
from rules.review.rates import TEN_MIN_NS, sliding_count
from trials.bars import AlarmBar
from trials.figures.figure import Figure
from trials.figures.measured import Measured, missing
from trials.figures.weighting import NO_WINDOW, apart

LEAST_S = 600.0


def alarm_figures(bars: Sequence[AlarmBar] | None, windows: Sequence[Window]) -> list[Figure]:
    """Alarms an hour, the most in ten minutes, and how much of the time one stood.

    Args:
        bars: of the journal (see ``trials.bars``); None: no rules judged the trial. Those that were found
            late called nobody and are not counted.
    """
    within = apart(windows)
    why = "" if within else NO_WINDOW
    if bars is None:
        why = why or "no rules judged this trial"
    heard = [bar for bar in bars or () if not bar.late]
    times = np.array(
        sorted(b.start_ns for b in heard if any(b.start_ns in w for w in within)), dtype=np.int64
    )
    length_s = sum(w.s for w in within)
    short = why or ("" if length_s >= LEAST_S else "the window is shorter than ten minutes")
    per_h = 3600 / length_s if length_s > 0 else 0.0
    # Counts are taken as Poisson: their standard deviation is their root, at least 1.
    rate = (
        missing(short) if short else Measured(len(times) * per_h, {"count": sqrt(max(len(times), 1)) * per_h})
    )
    most = missing(short) if short else Measured(float(sliding_count(times, TEN_MIN_NS).max(initial=0)))
    stood = missing(why) if why else Measured(100 * _standing_s(heard, within) / length_s)
    return [
        Figure.of("alarms", "/h", rate, windows, "Alarms that began in the window over its length."),
        Figure.of("most alarms in ten minutes", "1", most, windows, "Highest count in any ten minutes."),
        Figure.of("time with an alarm", "%", stood, windows, "Share of the window in which any alarm stood."),
    ]


def _standing_s(bars: Sequence[AlarmBar], within: Sequence[Window]) -> float:
    """How long at least one stood within the windows."""
    last_ns = within[-1].end_ns
    stood = apart(Window(b.start_ns, last_ns if b.end_ns is None else b.end_ns) for b in bars)
    shared = sum(max(0, min(s.end_ns, w.end_ns) - max(s.start_ns, w.start_ns)) for s in stood for w in within)
    return shared / NS
