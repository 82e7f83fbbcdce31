"""All clocks of a line together: the edge's and its sources', what they show, and which of them are wrong."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence

from collector.clocks.edge import EdgeClock
from collector.clocks.source import SourceClock
from collector.clocks.stamps import newest_of
from collector.clocks.words import Which
from collector.clocks.wrong import MS
from collector.entry import Entry
from collector.reading.mapping import SourceMapping
from historian.clocks.originals import shift_path
from historian.event import Event
from historian.frame import NS, Frame, TagIds, Times
from historian.quality import GOOD, NO_DATA
from historian.store import Sample
from historian.tags import Tag

HEARD_NS = 60 * NS
"""Who has sent nothing for longer says nothing of the time."""

_Due = Callable[[], None]


class Clocks:
    """The clocks, from batch to batch; sources that count time of their own have none here.

    Args:
        passed_ns: the newest stored arrival; None in a new store.
        believed: whether something beside the sources says that a reading of the edge's clock is right.
    """

    def __init__(self, passed_ns: int | None, believed: Callable[[int], bool]) -> None:
        self._edge = EdgeClock(passed_ns, believed)
        self._sources: dict[str, SourceClock] = {}
        self._shift_tags: dict[str, int] = {}
        self._held: dict[str, list[Entry]] = {}
        self._waiting: dict[str, list[_Due]] = {}
        self._events: list[Event] = []

    def adopt(
        self,
        source: SourceMapping,
        paths: Mapping[int, str],
        tags: Mapping[str, Tag],
        stored: Iterable[Sample],
        shift: Sample | None,
        known_ns: Callable[[TagIds], Times],
    ) -> None:
        """A further source, or one whose mapping changed.

        Args:
            paths: tag number → path of its tags.
            tags: of the store, by path.
            stored: the newest stored samples of its tags.
            shift: the newest one of its clock's shift.
            known_ns: gives the newest stored time of each of these tags; a very low number where none is.
        """
        path = shift_path(source.name)
        if path in tags:
            self._shift_tags[source.name] = tags[path].id
        if source.clock != "wall":
            return
        newest_ns = max((s.time_ns for s in stored), default=None)
        shift_ns = 0 if shift is None or math.isnan(shift.value) else int(shift.value) * MS
        old = self._sources.get(source.name)
        if old is not None:
            newest_ns, shift_ns = old.stored_ns, old.shift_ns
        self._sources[source.name] = SourceClock(source.name, paths, known_ns, newest_ns, shift_ns)
        self._edge.knows(source.name, newest_ns or 0)

    def time(self, read_ns: int, entries: Mapping[str, Sequence[Entry]]) -> int:
        """What the time is, as far as anybody can tell.

        Args:
            read_ns: what the edge's clock shows.
            entries: what came from each source, by name.
        """

        def heard(righted: bool) -> dict[str, int]:
            newest = {name: newest_of(entries[name]) for name in self._sources}
            return {n: t + (self.shift_ns(n) if righted else 0) for n, t in newest.items() if t is not None}

        now_ns = self._edge.at(read_ns, heard)
        self._events += self._edge.events()
        return now_ns

    def right(
        self,
        name: str,
        entries: list[Entry],
        waiting: list[_Due],
        now_ns: int,
        arrival_ns: int,
        *,
        last: bool,
    ) -> tuple[list[Entry], list[Frame], list[_Due]]:
        """A source's entries at the times where they belong; those of which nobody can tell wait.

        Args:
            waiting: what is due when the entries are kept; it waits with them.
            last: nothing may wait.

        Returns:
            the entries, frames of the shifts that begin with them, and what is due with them.
        """
        source = self._sources.get(name)
        if source is None:
            return entries, [], waiting
        entries = [*self._held.pop(name, ()), *entries]
        due: list[_Due] = [*self._waiting.pop(name, ()), *waiting]
        done = source.right(
            entries,
            now_ns,
            last=last,
            which=Which(self._edge.doubt, self._is_alone, self._edge.is_asking_sources),
        )
        self._events += done.events
        if done.held:
            self._held[name], self._waiting[name] = done.held, due
            due = []
        return done.entries, self._frames(name, done.records, arrival_ns), due

    def shift_ns(self, name: str) -> int:
        """What is added to a source's times now; 0 when its clock is right."""
        source = self._sources.get(name)
        return 0 if source is None else source.shift_ns

    def faults(self) -> dict[str, str]:
        """Which clocks are wrong, and how, one clause each: by source, the edge's own under ``edge``."""
        found = {"edge": self._edge.doubt} if self._edge.doubt else {}
        return found | {name: source.fault for name, source in self._sources.items() if source.fault}

    def shown(self) -> list[int]:
        """What the clocks of the sources show that sent something in the last minute: as they sent it."""
        now_ns = self._edge.now_ns or 0
        return [
            source.heard_ns[0] + now_ns - source.heard_ns[1]
            for source in list(self._sources.values())
            if source.heard_ns is not None and now_ns - source.heard_ns[1] <= HEARD_NS
        ]

    def events(self) -> list[Event]:
        """What happened since the last call; hands it over."""
        told, self._events = self._events, []
        return told

    def _is_alone(self) -> bool:
        """Whether nothing but the edge's clock speaks against the one source."""
        return len(self._sources) == 1 and not self._edge.is_vouched_for()

    def _frames(self, name: str, records: list[tuple[int, float]], arrival_ns: int) -> list[Frame]:
        number = self._shift_tags.get(name)
        if not records or number is None:
            return []
        quality = [NO_DATA if math.isnan(shift_ms) else GOOD for _, shift_ms in records]
        times, shifts = [t for t, _ in records], [shift_ms for _, shift_ms in records]
        return [Frame.of([number] * len(records), times, shifts, quality, arrival_ns=arrival_ns)]
