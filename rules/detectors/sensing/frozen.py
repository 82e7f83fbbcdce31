"""Whether a sensor holds its last value.

How long a signal may stand still is learnt from itself: of the tens of seconds in sound running, a share p
shows no change at all. Were each as likely as the last, n of them in a row would have the chance p^n; the
rule speaks when that is below one in a thousand million, twice over, for still spells keep company. Derived
here.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np

from historian.frame import NS
from historian.tags import Tag, TagKind
from rules.detectors.sensing.failed import words
from rules.finding import Blind, Finding
from rules.line import LineFacts
from rules.seen.grid import array, numbers
from rules.seen.rule import TensRule
from rules.seen.stage import Stage, Tens
from rules.seen.tens import TENS_S

_CHANCE = -9.0  # decimal logarithm
_TWICE = 2.0
_LEARNT_FROM = 60  # tens of seconds: ten minutes
_FORGET = 1 / 360  # a share is that of the last hour
_END_STOPS = (0.0, 100.0)


class SensorFrozen(TensRule):
    """Rule ``sensor-frozen``: a measured value that is known to move does not."""

    RULE = "sensor-frozen"

    def __init__(self, facts: LineFacts, tags: Mapping[str, Tag], stage: Stage) -> None:
        super().__init__(facts, stage)
        measured = [p for p in stage.paths if p.endswith(".pv") and tags[p].kind is TagKind.ANALOG]
        self._paths = measured
        self._column = np.asarray([stage.column[p] for p in measured], dtype=np.intp)
        size = len(measured)
        self._still = np.zeros(size, dtype=np.int64)  # tens without a change so far
        self._share = np.zeros(size)  # of the tens of sound running that had none
        self._seen = np.zeros(size, dtype=np.int64)
        self._last = np.full(size, np.nan)
        self._standing = np.zeros(size, dtype=np.bool_)

    def judge(self, tens: Tens) -> Iterable[Finding | Blind]:
        """What these ten seconds say."""
        why = tens.line.unsettled(start_s=0.0, settle_s=0.0)
        yield from self.blind.note(tens.time_ns, why)
        low, high = tens.low[self._column], tens.high[self._column]
        known = ~np.isnan(low)
        still = known & (low == high) & (low == self._last)
        self._last = np.where(known, high, self._last)
        moved = known & ~still
        ended = self._standing & moved
        self._standing &= ~moved
        for at in np.flatnonzero(ended).tolist():
            yield self._said(at, tens, active=False)
        if why is not None:
            self._still[:] = 0
            return
        self._learn(still, known)
        self._still = np.where(still & ~np.isin(low, _END_STOPS), self._still + 1, 0)
        frozen = ~self._standing & (self._still >= self._needed())
        self._standing |= frozen
        for at in np.flatnonzero(frozen).tolist():
            yield self._said(at, tens, active=True)

    def _learn(self, still: Any, known: Any) -> None:
        """A spell that is already longer than the least one does not teach that standing still is usual."""
        least = self.values["least_s"] / TENS_S
        teaches = known & (self._still < least)
        weight = np.maximum(_FORGET, 1 / (self._seen + 1.0))
        self._share = np.where(teaches, self._share + weight * (still - self._share), self._share)
        self._seen = np.where(teaches, self._seen + 1, self._seen)

    def _needed(self) -> Any:
        """Tens without a change after which a signal counts as frozen; inf: it is not judged."""
        # One still spell in a hundred is granted to a signal that has shown none yet.
        share = np.clip(self._share, 0.01, 0.999)
        tens = _TWICE * _CHANCE / np.log10(share)
        tens = np.maximum(np.ceil(tens), self.values["least_s"] / TENS_S)
        judged = (self._seen >= _LEARNT_FROM) & (tens <= self.values["longest_s"] / TENS_S)
        return np.where(judged, tens, np.inf)

    def _said(self, at: int, tens: Tens, *, active: bool) -> Finding:
        path = self._paths[at]
        for_s = float(self._still[at]) * TENS_S
        value = float(self._last[at])
        sentence = (
            f"The reading of {words(path)} has not moved for {for_s / 60:.0f} min and stands at {value:g}; "
            f"in sound running it stands still in {100 * self._share[at]:.0f} % of all tens of seconds. "
            "Whether the process stands as still is not known."
            if active
            else f"The reading of {words(path)} moves again."
        )
        return self.finding(
            path.rsplit(".", 1)[0],
            active,
            tens.time_ns,
            sentence,
            onset_ns=tens.time_ns - int(for_s * NS) if active else None,
            tags=(path,),
            figures={"without a change": (for_s, "s"), "usually without one": (100 * self._share[at], "%")},
        )

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {
            **super().save(),
            "still": self._still.tolist(),
            "share": self._share.tolist(),
            "seen": self._seen.tolist(),
            "last": numbers(self._last),
            "standing": self._standing.tolist(),
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self._still = np.asarray(state["still"], dtype=np.int64)
        self._share = np.asarray(state["share"], dtype=np.float64)
        self._seen = np.asarray(state["seen"], dtype=np.int64)
        self._last = array(state["last"])
        self._standing = np.asarray(state["standing"], dtype=np.bool_)
