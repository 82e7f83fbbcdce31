"""Follows the phases of a line as they happen, and tells those of an older window."""

from __future__ import annotations

import numpy as np

from dashboard.headline import PhaseNow
from historian.frame import NS, Series
from historian.quality import is_bad
from historian.store import Store
from process.features import GRID_S, Samples, features_of, tells_phase
from process.phase_names import UNKNOWN
from process.phases import Phase, PhaseTracker, phases_of

LOOK_BACK_NS = 8 * 3600 * NS
LEAD_NS = 3 * 3600 * NS
HELD_NS = 100 * NS
MARGIN_NS = 2 * NS
STEP_NS = int(GRID_S) * NS


class PhaseWatch:
    """Phases of one line from eight hours before the first look.

    Not safe for several threads at once: its owner holds the lock.
    """

    def __init__(self, planned_kg_h: float | None) -> None:
        self._planned_kg_h = planned_kg_h
        self._begin(0)

    def _begin(self, start_ns: int) -> None:
        self._tracker = PhaseTracker(self._planned_kg_h)
        self._start_ns = self._until_ns = start_ns
        self._over: list[Phase] = []

    def follow(self, store: Store, source_now_ns: int) -> None:
        """Read what came since the last call, up to a moment of source time."""
        if source_now_ns < self._until_ns or source_now_ns - self._until_ns > LOOK_BACK_NS:
            span = store.span()
            earliest_ns = span[0] if span else source_now_ns
            self._begin(max(earliest_ns, source_now_ns - LOOK_BACK_NS) // STEP_NS * STEP_NS)
        end_ns = (source_now_ns - MARGIN_NS) // STEP_NS * STEP_NS
        if end_ns <= self._until_ns:
            return
        for features in features_of(_signals(store, self._until_ns, end_ns), self._until_ns, end_ns):
            done = self._tracker.push(features)
            if done is not None:
                self._over.append(done)
        self._until_ns = end_ns

    @property
    def now(self) -> PhaseNow | None:
        """The phase that the line is in; None while it is not known."""
        present = self._tracker.present
        if present is None or present.name == UNKNOWN:
            return None
        return PhaseNow(present.name, present.start_ns)

    def between(self, store: Store, start_ns: int, end_ns: int) -> list[Phase]:
        """The phases that a window touches; an older one is judged from three hours before its start."""
        if start_ns >= self._start_ns and self._until_ns > 0:
            present = self._tracker.present
            found = [*self._over, *([present] if present is not None else [])]
        else:
            span = store.span()
            from_ns = max(span[0] if span else start_ns, start_ns - LEAD_NS) // STEP_NS * STEP_NS
            found = phases_of(
                features_of(_signals(store, from_ns, end_ns), from_ns, end_ns), self._planned_kg_h
            )
        return [p for p in found if p.end_ns > start_ns and p.start_ns < end_ns]


def _signals(store: Store, start_ns: int, end_ns: int) -> dict[str, Samples]:
    """The samples that features are made of, from a little before the start so that values can be held."""
    wanted = [p for p in store.tags() if tells_phase(p)]
    found = store.read(wanted, start_ns - HELD_NS, end_ns) if wanted else {}
    return {path: _samples(series) for path, series in found.items() if len(series)}


def _samples(series: Series) -> Samples:
    return series.time_ns, np.where(is_bad(series.quality), np.nan, series.value)
