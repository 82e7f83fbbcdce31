"""What may be believed of the newest samples: live, doubted by its source, lost, or not there at all."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import isnan, nan

import numpy as np

from dashboard.views import Trust
from dashboard.words import clock_text
from historian.frame import NS
from historian.quality import LAST_USABLE, NO_COMMUNICATION_LAST_USABLE, in_words, is_bad, is_uncertain
from historian.store import Sample
from historian.tags import Tag

SOURCE_SILENT_NS = 5 * NS
"""A source that delivers nothing for this long is not live."""

TAG_SILENT_NS = 65 * NS
"""The edge repeats an unchanged value every 60 s, so a signal silent for longer is not live."""

FLOWING_NS = 30 * NS
"""While something arrived within this time, data flow."""

_KEPT_VALUES = (LAST_USABLE, NO_COMMUNICATION_LAST_USABLE)


@dataclass(frozen=True, slots=True)
class Believed:
    """One signal's newest value with its trust.

    Attributes:
        value: NaN unless live or uncertain.
        why: empty when live; otherwise for a person.
        time_ns: source time; 0 when there is none.
    """

    value: float
    trust: Trust
    why: str = ""
    time_ns: int = 0

    @property
    def known(self) -> bool:
        """Whether there is a number that may be shown."""
        return not isnan(self.value)


EDGE = "edge"
"""The source of the recorder's own tags: its heartbeat."""


class Now:
    """The newest samples of a line, judged at one moment.

    Args:
        tags, latest: by path.
        now_ns: the edge's clock.
        zone: of the site, for the words.
    """

    def __init__(self, tags: Mapping[str, Tag], latest: Mapping[str, Sample], now_ns: int, zone: str) -> None:
        self.tags, self.latest, self.now_ns, self.zone = tags, latest, now_ns, zone
        self.heard_ns: dict[str, int] = {}
        for path, sample in latest.items():
            source = tags[path].source if path in tags else ""
            self.heard_ns[source] = max(self.heard_ns.get(source, 0), sample.arrival_ns)

    @property
    def newest_arrival_ns(self) -> int:
        """When a machine's newest sample arrived; 0 when none ever did. The recorder's own do not count."""
        return max((ns for source, ns in self.heard_ns.items() if source != EDGE), default=0)

    @property
    def flowing(self) -> bool:
        """Whether something arrived lately."""
        return self.newest_arrival_ns > 0 and self.now_ns - self.newest_arrival_ns < FLOWING_NS

    @property
    def source_time_ns(self) -> int:
        """The newest source time of the filter's signals, or of all when it has none; 0 without samples."""
        filter_times = [s.time_ns for p, s in self.latest.items() if p.startswith("filter.")]
        return max(filter_times or [s.time_ns for s in self.latest.values()], default=0)

    def of(self, path: str) -> Believed:
        """What may be shown of a signal."""
        sample = self.latest.get(path)
        if sample is None:
            if path in self.tags:
                return Believed(nan, Trust.LOST, "no data yet")
            return Believed(nan, Trust.ABSENT, "not measured on this line")
        why = self._distrust(path, sample)
        if why:
            return Believed(nan, Trust.LOST, why, sample.time_ns)
        if is_uncertain(np.uint32(sample.quality)):  # type: ignore[arg-type]
            return Believed(sample.value, Trust.UNCERTAIN, in_words(sample.quality), sample.time_ns)
        return Believed(sample.value, Trust.LIVE, "", sample.time_ns)

    def value(self, path: str) -> float:
        """The number that may be shown; NaN when there is none."""
        return self.of(path).value

    def _distrust(self, path: str, sample: Sample) -> str:
        """Why the newest sample must not be shown as a number; empty when it may."""
        kept = sample.quality & 0xFFFF_0000 in _KEPT_VALUES
        if kept or isnan(sample.value) or bool(is_bad(np.uint32(sample.quality))):  # type: ignore[arg-type]
            reason = in_words(sample.quality) if sample.quality else "no value"
            return self._since(sample.time_ns, "" if reason == "no data" else reason)
        heard_ns = self.heard_ns[self.tags[path].source if path in self.tags else ""]
        if self.now_ns - heard_ns > SOURCE_SILENT_NS:
            return self._since(heard_ns, "source lost")
        if self.now_ns - sample.arrival_ns > TAG_SILENT_NS:
            return self._since(sample.arrival_ns, "this signal is silent")
        return ""

    def _since(self, time_ns: int, reason: str) -> str:
        clock = clock_text(time_ns, self.zone, now_ns=self.now_ns)
        return f"no data since {clock}" + (f" ({reason})" if reason else "")
