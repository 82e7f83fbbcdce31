"""A source whose clock a test sets, its inbox, and all that was sent and kept; the time is the test's."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from collector.keeping.inbox import Inbox
from collector.reading.mapping import SourceMapping, TagMapping, tags_of
from historian import NS, Event, Frame, Sample, Series
from historian.catalogue import canonical_tag
from historian.clocks.originals import original_times, shift_path
from historian.quality import GOOD, NO_DATA
from historian.tags import Tag

T = 1_900_000_000 * NS
DAY_NS = 86_400 * NS
HOUR_NS = 3600 * NS


def mappings(names: Sequence[str], tags: int) -> list[SourceMapping]:
    return [
        SourceMapping(n, "x://", False, tuple(TagMapping(f"{n}.t{k}.pv", f"i={k}", "1") for k in range(tags)))
        for n in names
    ]


@dataclass
class ClockLine:
    """Sources ``plc``, ``meter`` … with a few tags each.

    Attributes:
        at_ns: the true time.
        edge_off_ns: by how much the edge's clock is ahead.
        sent: value → (source, time that the source stamped, true time at which it was sent).
    """

    names: tuple[str, ...] = ("plc",)
    tags: int = 3
    at_ns: int = T
    edge_off_ns: int = 0
    believed: Callable[[int], bool] = lambda now_ns: False
    sent: dict[float, tuple[str, int, int]] = field(default_factory=dict)
    frames: list[Frame] = field(default_factory=list)
    told: list[Event] = field(default_factory=list)
    inbox: Inbox = field(init=False)

    def __post_init__(self) -> None:
        self.mappings = mappings(self.names, self.tags)
        shifts = [canonical_tag(shift_path(n), source="edge") for n in self.names]
        every = [*tags_of(self.mappings), *shifts]
        self.known: dict[str, Tag] = {t.path: replace(t, id=k) for k, t in enumerate(every, 1)}
        self.numbers = {
            n: [self.known[t.path].id for t in m.tags] for n, m in zip(self.names, self.mappings, strict=True)
        }
        self.start()

    def start(self) -> None:
        """A run begins, with what is stored."""
        self.inbox = Inbox(
            self.mappings, self.known, self.latest(), epochs=self.epochs(), believed=self.believed,
            passed_ns=max((f.arrival_ns for f in self.frames), default=None),
        )  # fmt: skip

    def latest(self) -> dict[str, Sample]:
        found: dict[str, Sample] = {}
        paths = {t.id: p for p, t in self.known.items()}
        for f in self.frames:
            columns = (f.tag, f.time_ns, f.value, f.quality)
            for tag, time_ns, value, quality in zip(*(c.tolist() for c in columns), strict=True):
                if paths[tag] not in found or found[paths[tag]].time_ns <= time_ns:
                    found[paths[tag]] = Sample(time_ns, value, quality, f.arrival_ns)
        return found

    def epochs(self) -> dict[str, int]:
        owner = {k: n for n, numbers in self.numbers.items() for k in numbers}
        return {owner[int(f.tag[0])]: f.clock_epoch for f in self.frames if int(f.tag[0]) in owner}

    def send(
        self,
        off_ns: int,
        *,
        source: str = "plc",
        age_ns: int = 0,
        first: bool = False,
        tags: int | None = None,
    ) -> None:
        """One sample a tag, stamped by a clock that is ahead by so much, taken a while ago."""
        for number in self.numbers[source][: tags or self.tags]:
            value = float(len(self.sent))
            stamp_ns = self.at_ns + off_ns - age_ns
            self.sent[value] = (source, stamp_ns, self.at_ns)
            confirmed_ns = self.at_ns + off_ns if first else 0
            self.inbox.put(source, number, stamp_ns, value, GOOD, confirmed_ns)

    def cut(self, *, last: bool = False) -> list[Frame]:
        frames = self.inbox.cut(self.at_ns + self.edge_off_ns, last=last)
        self.frames += frames
        self.told += self.inbox.events()
        return frames

    def run(self, seconds: int, off_ns: int = 0, *, late_ns: Sequence[int] = (0,)) -> None:
        """A scan a second, each a little late, cut twice a second."""
        for k in range(seconds):
            self.send(off_ns, age_ns=late_ns[k % len(late_ns)])
            self.cut()
            self.at_ns += NS // 2
            self.cut()
            self.at_ns += NS // 2

    def wait(self, seconds: float) -> None:
        """Nothing comes for a while."""
        end_ns = self.at_ns + int(seconds * NS)
        while self.at_ns < end_ns:
            self.at_ns = min(end_ns, self.at_ns + 10 * NS)
            self.cut()

    def kept(self, source: str = "plc") -> dict[float, tuple[int, int, int, int]]:
        """Value → stored time, arrival, clock epoch, quality; every sample once."""
        found: dict[float, tuple[int, int, int, int]] = {}
        for f in self.frames:
            for tag, time_ns, value, quality in zip(
                f.tag.tolist(), f.time_ns.tolist(), f.value.tolist(), f.quality.tolist(), strict=True
            ):
                if tag in self.numbers[source] and not math.isnan(value):
                    assert value not in found or found[value][0] < time_ns, "confirmed later, else doubled"
                    found.setdefault(value, (time_ns, f.arrival_ns, f.clock_epoch, quality))
        return found

    def shifts(self, source: str = "plc") -> Series:
        number = self.known[shift_path(source)].id
        rows = sorted(
            (t, v, q)
            for f in self.frames
            for k, t, v, q in zip(*(c.tolist() for c in (f.tag, f.time_ns, f.value, f.quality)), strict=True)
            if k == number
        )
        return Series.of([r[0] for r in rows], [r[1] for r in rows], [r[2] for r in rows])

    def originals(self, source: str = "plc") -> dict[float, int | None]:
        """Value → what the source stamped, by the record; None where nobody can tell."""
        kept = self.kept(source)
        stored = np.array([k[0] for k in kept.values()], dtype=np.int64)
        times, known = original_times(stored, self.shifts(source))
        strays = {(s["tag"], s["shift_ms"]) for e in self.told for s in e.data.get("strays", ())}
        assert not strays, "no test here is about strays"
        return {v: t if k else None for v, t, k in zip(kept, times.tolist(), known.tolist(), strict=True)}

    def kinds(self) -> list[str]:
        return [e.kind for e in self.told]

    def holes(self) -> int:
        return sum(int((f.quality == NO_DATA).sum()) for f in self.frames)
