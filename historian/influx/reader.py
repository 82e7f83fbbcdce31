"""What a server tells of one line, question by question."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Final

import numpy as np

from historian.archive.columns import Columns, FrameTable, merge, modified_of
from historian.embedded.newest import Newest
from historian.frame import Frame, Series
from historian.influx import answers, questions
from historian.influx.answers import Table
from historian.influx.lines import Numbered
from historian.influx.server import Server
from historian.influx.start import last_frame
from historian.store import Modified
from historian.tags import Tag

_FRAMES_A_TIME: Final = 500
_PATHS_A_TIME: Final = 50
_FOLLOWED_FRAMES: Final = 2_000
_KEYS: Final = 64


class Reader:
    """Reads one line from the server; paths that it does not know have no samples."""

    def __init__(self, server: Server) -> None:
        self._server = server
        self._line = server.place.line
        self._keys: dict[int, int] = {}  # number → time of frames that reading may go on from
        self._newest: Newest | None = None

    @property
    def where(self) -> str:
        """Server and line, for messages."""
        return f"{self._server.place.url}, line {self._line}"

    def tags(self) -> dict[str, Tag]:
        """Every tag of the line by path."""
        return answers.tags_in(self._answer(questions.all_tags(self._line)))

    def between(self, paths: Sequence[str], start_ns: int, end_ns: int) -> dict[str, Series]:
        """The samples with start ≤ source time < end, each tag sorted by time; a series for every path."""
        found = dict.fromkeys(paths, Series.empty())
        for some in _groups(paths) if start_ns < end_ns else ():
            question = questions.samples_between(self._line, some, start_ns, end_ns)
            found |= answers.series_in(self._server.ask(question))
        return found

    def last_between(self, paths: Sequence[str], start_ns: int, end_ns: int) -> dict[str, Series]:
        """The last sample of each tag with start ≤ source time < end, for those that have one."""
        found: dict[str, Series] = {}
        for some in _groups(paths):
            question = questions.last_samples(self._line, some, (start_ns, end_ns))
            found |= answers.bound_in(self._answer(question))
        return found

    def newest(self, tags: Mapping[str, Tag]) -> Newest:
        """The newest sample of each tag: asked for once, then followed frame by frame.

        The question goes through all that the server has of the line, so it is no question for every second.
        """
        number = self.last_number()
        if self._newest is None or number - self._newest.seq > _FOLLOWED_FRAMES:
            found = answers.newest_in(self._answer(questions.last_samples(self._line)))
            self._newest = Newest.of(number, {tags[p].id: s for p, s in found.items() if p in tags})
        for at, frame in self.frames(self._newest.seq):
            self._newest.take(at, frame)
        return self._newest

    def modified(self, number: int, start_ns: int, end_ns: int) -> list[Modified]:
        """What later writes of a tag replaced in the window, by source time, then arrival."""
        parts: list[Columns] = []
        frames: list[tuple[int, int, int]] = []
        for one, _, frame in self._frames(None, (start_ns, end_ns)):
            inside = (frame.tag == number) & (frame.time_ns >= start_ns) & (frame.time_ns < end_ns)
            if inside.any():
                parts.append(Columns.of_frames([(one, frame)]).where(inside))
                frames.append((one, frame.arrival_ns, frame.clock_epoch))
        table = FrameTable.of(frames)
        merged = merge(Columns.joined(parts), table)
        found = modified_of(merged.replaced, merged.replaced_by, table)
        return sorted(found, key=lambda m: (m.time_ns, m.arrival_ns))

    def frames(self, after: int) -> Iterator[tuple[int, Frame]]:
        """The frames after a number that the server has, in order."""
        for number, key_ns, frame in self._frames(self._key_of(after)):
            self._keep_key(number, key_ns)
            if number > after:
                yield number, frame

    def last_number(self) -> int:
        """Arrival number of the last frame; 0 when there is none."""
        number, key_ns = last_frame(self._server)
        self._keep_key(number, key_ns)
        return number

    def span(self) -> tuple[int, int] | None:
        """Source time of the first and the last sample; None when there is none."""
        first = self._answer(questions.end_of_all(self._line, "first"))
        last = self._answer(questions.end_of_all(self._line, "last"))
        return (int(first[0].columns["time"][0]), int(last[0].columns["time"][0])) if first and last else None

    def _frames(self, key_ns: int | None, window: tuple[int, int] | None = None) -> Iterator[Numbered]:
        limit = _FRAMES_A_TIME
        while True:
            tables = self._answer(questions.frames_after(self._line, key_ns, limit, window))
            rows = sum(len(table) for table in tables)
            found = list(answers.frames_in(tables, where=self.where))
            yield from found
            if rows < limit:
                return
            # Not one whole frame in so many parts: it is a very large one.
            limit = _FRAMES_A_TIME if found else limit * 2
            key_ns = found[-1].key_ns if found else key_ns

    def _key_of(self, number: int) -> int | None:
        """Time of the frame with this number, or of the last one before it; None when there is none."""
        if number <= 0:
            return None
        if number not in self._keys:
            found = self._answer(questions.key_of(self._line, number))
            if not found:
                return None
            self._keep_key(number, int(found[0].columns["time"][0]))
        return self._keys[number]

    def _keep_key(self, number: int, key_ns: int) -> None:
        self._keys.pop(number, None)
        self._keys[number] = key_ns
        if len(self._keys) > _KEYS:
            del self._keys[next(iter(self._keys))]

    def _answer(self, question: str) -> list[Table]:
        return list(self._server.ask(question))


def joined(first: Series, rest: Series) -> Series:
    """Two series of one tag, one after the other."""
    return Series(
        np.append(first.time_ns, rest.time_ns),
        np.append(first.value, rest.value),
        np.append(first.quality, rest.quality),
    )


def _groups(paths: Sequence[str]) -> list[Sequence[str]]:
    """The paths in lots whose question fits into an address that every server and proxy takes."""
    return [paths[at : at + _PATHS_A_TIME] for at in range(0, len(paths), _PATHS_A_TIME)]
