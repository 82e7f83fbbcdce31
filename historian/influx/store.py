"""The InfluxDB store: what ``historian.store.Store`` answers, from a server."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import Literal

import numpy as np

from historian.aggregates import Aggregate, AggregateRow, aggregate_series
from historian.envelope import Envelope, envelope_of
from historian.errors import StoreReadOnly, WrongInput
from historian.frame import NS, Frame, Series
from historian.influx import answers, questions
from historian.influx.answers import Table
from historian.influx.delivery import Deliverer, Delivery, Pace
from historian.influx.server import Place, Server
from historian.influx.start import go_on, last_frame, rows_of, tags_of
from historian.influx.waiting import Waiting
from historian.registry import numbered, unknown
from historian.store import Sample
from historian.tags import Tag

LOOK_BACK_NS = 900 * NS
"""How far before a window its bounds are looked for; the edge repeats an unchanged value every minute."""

_FRAMES_A_TIME = 500
_PATHS_A_TIME = 50
_CLOSE_S = 5.0


class InfluxStore:
    """Keeps a line's samples on an InfluxDB server; see ``historian.store.Store`` for what it answers.

    A writer has a waiting room on its own disk: ``append`` returns when the frames are there, and when the
    server has them too, unless it is away or slow. They are delivered in order when it is back. Reading needs
    the server; what a reader sees is what was delivered. One process writes a line; not safe for several
    threads at once.
    """

    def __init__(
        self, server: Server, waiting: Waiting | None, deliverer: Deliverer | None, patience_s: float
    ) -> None:
        self._server = server
        self._place = server.place
        self._waiting = waiting
        self._deliverer = deliverer
        self._patience_s = patience_s
        self._tags: dict[str, Tag] = {}
        self._closed = False
        self._key: tuple[int, int] | None = None  # number and time of the frame that was read last

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
            WrongInput: address, database or token are wrong, or a writer has no folder.
            StoreReadOnly, StoreFull, StoredDataDamaged: naming the waiting room's file.
        """
        server = Server(place)
        with ExitStack() as undo:
            undo.callback(server.close)
            if mode == "read":
                store = cls(server, None, None, 0.0)
                store._load_tags()
            else:
                if folder is None:
                    raise WrongInput(
                        f"line {place.line}: a writer needs a folder on this host for what waits"
                    )
                path = folder / "waiting.db"
                waiting = Waiting.open(path, place.line)
                undo.callback(waiting.close)
                go_on(waiting, server)
                tags = tags_of(waiting)
                own = Waiting.open(path, place.line, synced=False)
                deliverer = Deliverer(own, server, tags, pace=pace or Pace())
                deliverer.start()
                store = cls(server, waiting, deliverer, patience_s)
                store._tags = tags
            undo.pop_all()
            return store

    def register(self, tags: Iterable[Tag]) -> dict[str, Tag]:
        """Make the tags known and give them their numbers; a known path keeps its number."""
        waiting, deliverer = self._writer()
        changed = numbered(self._tags, tags)
        if changed:
            waiting.put_tags(rows_of(changed.values()))
            self._tags = {**self._tags, **changed}
            deliverer.wake(self._tags)
            deliverer.wait(0, self._patience_s)
        return dict(self._tags)

    def append(self, *frames: Frame) -> int:
        """Keep the frames, all or none; on return they are on disk, and on the server unless it is away."""
        waiting, deliverer = self._writer()
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
        deliverer.wake()
        deliverer.wait(number, self._patience_s)
        return number

    def flush(self, timeout_s: float) -> bool:
        """Wait until the server has everything, also while it is away; gives whether it has."""
        waiting, deliverer = self._writer()
        return deliverer.wait(waiting.last_number(), timeout_s, held_too=True)

    def delivery(self) -> Delivery:
        """What waits on this host's disk, and why."""
        waiting, deliverer = self._writer()
        return Delivery(*waiting.length(), deliverer.reason(), len(waiting.refused()))

    def tags(self) -> dict[str, Tag]:
        """Every tag of the line by path."""
        if self._waiting is None:
            self._load_tags()
        return dict(self._tags)

    def read(
        self, paths: Sequence[str], start_ns: int, end_ns: int, *, bound_before: bool = False
    ) -> dict[str, Series]:
        """The samples with start ≤ source time < end, each tag sorted by time."""
        wanted = self._known(paths)
        found = dict.fromkeys(wanted, Series.empty())
        line = self._place.line
        for some in _groups(wanted):
            if start_ns < end_ns:
                question = questions.samples_between(line, some, start_ns, end_ns)
                found |= answers.series_in(self._server.ask(question))
            if bound_before:
                question = questions.last_samples(line, some, (start_ns - LOOK_BACK_NS, start_ns))
                before = answers.bound_in(self._answer(question))
                found |= {path: _joined(bound, found[path]) for path, bound in before.items()}
        return found

    def latest(self, paths: Sequence[str] | None = None) -> dict[str, Sample]:
        """The sample with the newest source time of each tag that has any."""
        line = self._place.line
        if paths is None:
            return answers.newest_in(self._answer(questions.last_samples(line)))
        groups = _groups(self._known(paths))
        tables = [t for some in groups for t in self._answer(questions.last_samples(line, some))]
        return answers.newest_in(tables)

    def aggregate(
        self, path: str, start_ns: int, end_ns: int, interval_ns: int, kind: Aggregate
    ) -> list[AggregateRow]:
        """One row an interval, after OPC 10000-13."""
        return aggregate_series(
            self.read([path], start_ns, end_ns)[path], start_ns, end_ns, interval_ns, kind
        )

    def envelope(self, path: str, start_ns: int, end_ns: int, columns: int) -> Envelope:
        """First, minimum, maximum and last sample a pixel column, gaps kept."""
        return envelope_of(self.read([path], start_ns, end_ns)[path], start_ns, end_ns, columns)

    def frames(self, after: int = 0) -> Iterator[tuple[int, Frame]]:
        """The frames as they arrived, with their arrival numbers, from the one after ``after``.

        A writer gives those that wait on its disk too, and needs no server when it asks for no others.
        """
        while self._waiting is None or after < self._waiting.last_number():
            # Looked at before the server is asked: what is missing before these was delivered by then.
            held = self._waiting.after(after) if self._waiting else []
            if not (held and held[0].number == after + 1):
                for number, frame in self._delivered(after):
                    after = number
                    yield number, frame
            for number, _, frame in held:
                if number > after:
                    after = number
                    yield number, frame
            if not held:
                return

    def last_number(self) -> int:
        """Arrival number of the last frame; 0 when there is none."""
        return self._waiting.last_number() if self._waiting else last_frame(self._server)[0]

    def span(self) -> tuple[int, int] | None:
        """Source time of the first and the last sample; None when the store is empty."""
        first = self._answer(questions.end_of_all(self._place.line, "first"))
        last = self._answer(questions.end_of_all(self._place.line, "last"))
        return (int(first[0].columns["time"][0]), int(last[0].columns["time"][0])) if first and last else None

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

    def _writer(self) -> tuple[Waiting, Deliverer]:
        if self._waiting is None or self._deliverer is None:
            raise StoreReadOnly(f"line {self._place.line}: opened for reading")
        return self._waiting, self._deliverer

    def _known(self, paths: Sequence[str]) -> list[str]:
        """The paths, each once, all of them known."""
        if any(path not in self._tags for path in paths):
            known = self.tags()
            for path in paths:
                if path not in known:
                    raise unknown(path, known, where=f"{self._place.url}, line {self._place.line}")
        return list(dict.fromkeys(paths))

    def _load_tags(self) -> None:
        self._tags = answers.tags_in(self._answer(questions.all_tags(self._place.line)))

    def _answer(self, question: str) -> list[Table]:
        return list(self._server.ask(question))

    def _delivered(self, after: int) -> Iterator[tuple[int, Frame]]:
        """The frames after a number that the server has."""
        key_ns = self._key_of(after)
        limit = _FRAMES_A_TIME
        where = f"{self._place.url}, line {self._place.line}"
        while True:
            tables = self._answer(questions.frames_after(self._place.line, key_ns, limit))
            rows = sum(len(table) for table in tables)
            found = list(answers.frames_in(tables, where=where))
            for number, key_ns, frame in found:
                self._key = number, key_ns
                if number > after:
                    yield number, frame
            if rows < limit:
                return
            # Not one whole frame in so many parts: it is a very large one.
            limit = _FRAMES_A_TIME if found else limit * 2

    def _key_of(self, number: int) -> int | None:
        """Time of the frame with this number, or of the last one before it; None when there is none."""
        if number <= 0:
            return None
        if self._key is None or self._key[0] != number:
            found = self._answer(questions.key_of(self._place.line, number))
            self._key = (number, int(found[0].columns["time"][0])) if found else None
        return self._key[1] if self._key else None


def _groups(paths: Sequence[str]) -> list[Sequence[str]]:
    """The paths in lots whose question fits into an address that every server and proxy takes."""
    return [paths[at : at + _PATHS_A_TIME] for at in range(0, len(paths), _PATHS_A_TIME)]


def _joined(first: Series, rest: Series) -> Series:
    return Series(
        np.append(first.time_ns, rest.time_ns),
        np.append(first.value, rest.value),
        np.append(first.quality, rest.quality),
    )
