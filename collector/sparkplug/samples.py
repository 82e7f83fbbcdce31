"""From the metrics of a message to samples in the tags' units."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from collector.columns import Columns
from collector.complaints import Complaints
from collector.reading.mapping import TYPE_MISMATCH
from collector.reading.readings import Readings
from collector.sparkplug.metrics import NO_TIME, Heard, numbers
from collector.sparkplug.table import Found
from historian.frame import Qualities
from historian.quality import BAD

COMPLAINTS: Final[dict[str, str]] = {
    "payload": "messages that are no Sparkplug B payload, or too large",
    "type": "values of metrics that are no numbers, or in another unit; the event of their birth says which",
    "value": "values that do not have the type that their birth says; they are kept as bad",
    "alias": "metrics that no birth has named; the node is asked to be born again",
    "quality": "qualities other than 0, 192 and 500; they are kept as uncertain",
}
"""What cannot be read, as ``Complaints`` takes it."""


class Sampler:
    """Makes samples, and counts what cannot become one.

    Args:
        readings: of the source's tags.
        complaints: knows what ``COMPLAINTS`` explains.

    Attributes:
        received: samples made.
        unstamped: those of them that had no time of their own; the message's counts, or that of arrival.
    """

    def __init__(self, readings: Readings, complaints: Complaints) -> None:
        self._readings, self._complaints = readings, complaints
        self.received = self.unstamped = 0

    def samples(self, heard: Heard, found: Found, now_ns: int, where: str) -> Columns:
        """The samples of a message's tags, in its order.

        Args:
            now_ns: when it arrived.
            where: who sent it, for complaints.
        """
        metrics, which = heard.metrics, found.which
        self.received += len(which)
        if metrics.plain and found.plain:
            value, quality = self._readings.take_columns(found.tag, metrics.number, metrics.quality)
            return Columns(self._readings.tag_id[found.tag], metrics.time_ms * 1_000_000, value, quality)
        value, wrong = numbers(metrics, which, found.types)
        quality, null = metrics.quality[which], metrics.null[which]
        if null.any():
            value, wrong = np.where(null, np.nan, value), wrong & ~null
            quality = _bad(quality, null, BAD)
        if wrong.any():
            self._complain("value", where, int(wrong.sum()))
            quality = _bad(quality, wrong, TYPE_MISMATCH)
        self._complain("type", where, found.refused)
        self._complain("quality", where, len(metrics.odd))
        time_ms = metrics.time_ms[which]
        time_ns, unstamped = time_ms * 1_000_000, time_ms == NO_TIME
        if unstamped.any():
            self.unstamped += int(unstamped.sum())
            time_ns[unstamped] = sent_ns(heard, now_ns)
        value, quality = self._readings.take_columns(found.tag, value, quality)
        return Columns(self._readings.tag_id[found.tag], time_ns, value, quality)

    def _complain(self, kind: str, where: str, n: int) -> None:
        if n:
            self._complaints.add(kind, where, f"{n} metrics", n)


def sent_ns(heard: Heard, now_ns: int) -> int:
    """When a message was sent by its own word; when it arrived if it does not say."""
    return now_ns if heard.time_ms == NO_TIME else heard.time_ms * 1_000_000


def _bad(quality: Qualities, which: NDArray[np.bool_], otherwise: int) -> Qualities:
    """These are bad: as they say themselves, or as is said here."""
    good = which & ((quality & np.uint32(BAD)) == 0)
    return np.where(good, np.uint32(otherwise), quality)
