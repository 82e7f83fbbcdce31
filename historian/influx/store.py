"""The InfluxDB store: what ``historian.store.Store`` answers, from a server."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import Literal

import numpy as np

from historian.aggregates import Aggregate, AggregateConfig, AggregateRow, aggregate_series
from historian.embedded.newest import Newest
from historian.envelope import Envelope, envelope_of
from historian.errors import StoreReadOnly, WrongInput
from historian.frame import NS, Frame, Series
from historian.influx.delivery import Deliverer, Delivery, Pace
from historian.influx.reader import Reader, joined
from historian.influx.rolling import rolled
from historian.influx.server import Place, Server
from historian.influx.start import go_on, newest_of, rows_of, tags_of
from historian.influx.waiting import Waiting
from historian.piecewise import piecewise, reaching
from historian.registry import numbered, unknown
from historian.rollups.columns import Rollup
from historian.store import STANDARD, Modified, Sample
from historian.tags import Tag

LOOK_BACK_NS = 900 * NS
"""How far before a window its bounds are looked for; the edge repeats an unchanged value every minute."""

_CLOSE_S = 5.0


class InfluxStore:
    """Keeps a line's samples on an InfluxDB server; see ``historian.store.Store`` for what it answers.

    A writer has a waiting room on its own disk: ``append`` returns when the frames are there, and when the
    server has them too, unless it is away or slow. They are delivered in order when it is back. Reading needs
    the server; what a reader sees is what was delivered. A writer knows its tags, the newest samples and the
    last frames without it. One process writes a line; not safe for several threads at once.
    """

    def __init__(
        self,
        server: Server,
        tags: dict[str, Tag],
        waiting: Waiting | None = None,
        deliverer: Deliverer | None = None,
        newest: Newest | None = None,
        *,
        patience_s: float = 0.0,
    ) -> None:
        self._server = server
        self._place = server.place
        self._reader = Reader(server)
        self._waiting = waiting
        self._deliverer = deliverer
        self._newest = newest
        self._patience_s = patience_s
        self._tags = tags
        self._closed = False

    @classmethod
    def open(
        cls,
        place: Place,
        folder: Path | None = None,
        *,
        mode: Literal["write", "read"] = "write",
        patience_s: float = 1.0,
        pace: Pace | None = None,
    ) -> InfluxStore:
        """Open the line's samples; a writer needs a folder for its waiting room.

        Args:
            patience_s: how long ``append`` and ``register`` wait for a server that takes its time. So a slow
                server slows the writer down.

        Raises:
            ServerAway: a reader, or a writer's very first start: it takes its numbers from the server.
            WrongInput: address, database or token are wrong (a writer that knew the server keeps samples on
                disk all the same); or a writer has no folder.
            StoreReadOnly, StoreFull, StoredDataDamaged: naming the waiting room's file.
        """
        server = Server(place)
        with ExitStack() as undo:
            undo.callback(server.close)
            if mode == "read":
                store = cls(server, Reader(server).tags())
            elif folder is None:
                raise WrongInput(f"line {place.line}: a writer needs a folder on this host for what waits")
            else:
                store = cls._to_write(server, folder / "waiting.db", undo, patience_s, pace or Pace())
            undo.pop_all()
            return store

    @classmethod
    def _to_write(
        cls, server: Server, path: Path, undo: ExitStack, patience_s: float, pace: Pace
    ) -> InfluxStore:
        waiting = Waiting.open(path, server.place.line)
        undo.callback(waiting.close)
        go_on(waiting, server)
        tags = tags_of(waiting)
        own = Waiting.open(path, server.place.line, synced=False)
        undo.callback(own.close)
        delivered = newest_of(waiting, all_frames=False)
        newest = newest_of(waiting, all_frames=True)
        deliverer = Deliverer(own, server, tags, pace=pace, newest=delivered)
        deliverer.start()
        return cls(server, tags, waiting, deliverer, newest, patience_s=patience_s)

    def register(self, tags: Iterable[Tag]) -> dict[str, Tag]:
        """Make the tags known and give them their numbers; a known path keeps its number."""
        waiting, deliverer, _ = self._writer()
        changed = numbered(self._tags, tags)
        if changed:
            waiting.put_tags(rows_of(changed.values()))
            self._tags = {**self._tags, **changed}
            deliverer.wake(self._tags)
            deliverer.wait(0, self._patience_s)
        return dict(self._tags)

    def append(self, *frames: Frame) -> int:
        """Keep the frames, all or none; on return they are on disk, and on the server unless it is away."""
        waiting, deliverer, newest = self._writer()
        if not frames:
            return waiting.last_number()
        known = np.array([tag.id for tag in self._tags.values()], dtype=np.int32)
        for frame in frames:
            strange = np.setdiff1d(frame.tag, known)
            if len(strange):
                raise WrongInput(
                    f"line {self._place.line}: no tag has the number {strange[0]}; register it first"
                )
        number = waiting.append(frames)
        for at, frame in enumerate(frames, number - len(frames) + 1):
            newest.take(at, frame)
        deliverer.wake()
        deliverer.wait(number, self._patience_s)
        return number

    def flush(self, timeout_s: float) -> bool:
        """Wait until the server has everything, also while it is away; gives whether it has."""
        waiting, deliverer, _ = self._writer()
        return deliverer.wait(waiting.last_number(), timeout_s, held_too=True)

    def delivery(self) -> Delivery:
        """What waits on this host's disk, and why."""
        waiting, deliverer, _ = self._writer()
        return Delivery(*waiting.length(), deliverer.reason(), len(waiting.refused()))

    def tags(self) -> dict[str, Tag]:
        """Every tag of the line by path."""
        if self._waiting is None:
            self._tags = self._reader.tags()
        return dict(self._tags)

    def read(
        self, paths: Sequence[str], start_ns: int, end_ns: int, *, bound_before: bool = False
    ) -> dict[str, Series]:
        """The samples with start ≤ source time < end, each tag sorted by time."""
        wanted = self._known(paths)
        found = self._reader.between(wanted, start_ns, end_ns)
        if bound_before:
            before = self._reader.last_between(wanted, start_ns - LOOK_BACK_NS, start_ns)
            found |= {path: joined(bound, found[path]) for path, bound in before.items()}
        return found

    def blocks(
        self, paths: Sequence[str], start_ns: int, end_ns: int, *, samples: int = 500_000
    ) -> Iterator[dict[str, Series]]:
        """The same piece by piece in order of time, about so many samples at once, whatever the window."""
        return piecewise(self.read, self._known(paths), start_ns, end_ns, span=self.span(), samples=samples)

    def latest(self, paths: Sequence[str] | None = None) -> dict[str, Sample]:
        """The sample with the newest source time of each tag that has any.

        A writer knows it without the server, from what it appended.
        """
        chosen = self.tags() if paths is None else self._known(paths)
        newest = self._newest or self._reader.newest(self._tags)
        found = ((path, newest.sample(self._tags[path].id)) for path in chosen)
        return {path: sample for path, sample in found if sample is not None}

    def modified(self, path: str, start_ns: int, end_ns: int) -> list[Modified]:
        """What later writes replaced in the window, by source time, then arrival."""
        return self._reader.modified(self._tag(path).id, start_ns, end_ns)

    def aggregate(
        self,
        path: str,
        start_ns: int,
        end_ns: int,
        interval_ns: int,
        kind: Aggregate,
        *,
        config: AggregateConfig = STANDARD,
    ) -> list[AggregateRow]:
        """One row an interval, after OPC 10000-13, with the bounding samples however far away they are."""
        stepped = self._tag(path).holds
        before = 2 if config.use_sloped_extrapolation else 1
        series = reaching(self.read, path, start_ns, end_ns, span=self.span(), before=before)
        return aggregate_series(series, start_ns, end_ns, interval_ns, kind, config=config, stepped=stepped)

    def rollup(self, paths: Sequence[str], start_ns: int, end_ns: int, interval_ns: int) -> Rollup:
        """Extremes, ends, mean and counts of every interval that holds a sample, by tag number, as columns.

        Made from the samples, piece by piece: the server's own sums know nothing of qualities.
        """
        numbers = {path: self._tag(path).id for path in paths}
        pieces = self.blocks(paths, start_ns, end_ns)
        return rolled(({numbers[p]: s for p, s in piece.items()} for piece in pieces), interval_ns)

    def envelope(self, path: str, start_ns: int, end_ns: int, columns: int) -> Envelope:
        """First, minimum, maximum and last sample a pixel column, gaps kept."""
        return envelope_of(self.read([path], start_ns, end_ns)[path], start_ns, end_ns, columns)

    def frames(self, after: int = 0) -> Iterator[tuple[int, Frame]]:
        """The frames as they arrived, with their arrival numbers, from the one after ``after``.

        A writer gives those that are on its disk from there, and needs no server when it asks for no others.
        """
        while self._waiting is None or after < self._waiting.last_number():
            began = after
            # Looked at before the server is asked: what is missing before these was delivered by then.
            held = self._waiting.after(after) if self._waiting else []
            if not (held and held[0].number == after + 1):
                for number, frame in self._reader.frames(after):
                    after = number
                    yield number, frame
            for number, _, frame in held:
                if number > after:
                    after = number
                    yield number, frame
            if self._waiting is None or after == began:
                return

    def last_number(self) -> int:
        """Arrival number of the last frame; 0 when there is none."""
        return self._waiting.last_number() if self._waiting else self._reader.last_number()

    def span(self) -> tuple[int, int] | None:
        """Source time of the first and the last sample; None when the store is empty."""
        return self._reader.span()

    def close(self) -> None:
        """Give delivery a moment, then let go; what still waits goes at the next start."""
        if self._closed:
            return
        self._closed = True
        if self._waiting and self._deliverer:
            self._deliverer.wait(self._waiting.last_number(), _CLOSE_S)
            self._deliverer.stop(self._place.timeout_s + 1.0)
            self._waiting.close()
        self._server.close()

    def _writer(self) -> tuple[Waiting, Deliverer, Newest]:
        if self._waiting is None or self._deliverer is None or self._newest is None:
            raise StoreReadOnly(f"line {self._place.line}: opened for reading")
        return self._waiting, self._deliverer, self._newest

    def _known(self, paths: Sequence[str]) -> list[str]:
        """The paths, each once, all of them known."""
        if any(path not in self._tags for path in paths):
            known = self.tags()
            for path in paths:
                if path not in known:
                    raise unknown(path, known, where=self._reader.where)
        return list(dict.fromkeys(paths))

    def _tag(self, path: str) -> Tag:
        return self._tags[self._known([path])[0]]
