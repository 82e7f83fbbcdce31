"""A trial put together, from record, samples and journal."""

from __future__ import annotations

from trials.outcome.outcome import Excluded, Outcome, Point, Stretch

__all__ = ["Excluded", "Outcome", "Point", "Stretch"]
