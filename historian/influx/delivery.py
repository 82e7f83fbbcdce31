"""Brings waiting frames to the server, in order, until it has them: a thread of its own."""

from __future__ import annotations

import random
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass

import structlog

from historian.embedded.newest import Newest
from historian.errors import MeltledgerError, StoredDataDamaged
from historian.frame import NS
from historian.influx.lines import Numbered, frame_lines, sample_lines, tag_lines
from historian.influx.server import TOO_LARGE, Refused, Server, ServerAway
from historian.influx.waiting import Waiting
from historian.tags import Tag

_log = structlog.get_logger(__name__)
_DAY_NS = 86_400 * NS


@dataclass(frozen=True, slots=True)
class Delivery:
    """How far delivery has come.

    Attributes:
        frames, samples: how many wait on this host's disk.
        oldest_ns: when the oldest of them arrived, UTC nanoseconds; None when none waits.
        reason: why the server has not taken them; empty when nothing is wrong.
        refused: how many frames the server will never take; they are kept beside.
    """

    frames: int
    samples: int
    oldest_ns: int | None
    reason: str
    refused: int


@dataclass(frozen=True, slots=True)
class Pace:
    """How delivery goes about it.

    Attributes:
        batch_samples: samples handed over at a time.
        first_wait_s, longest_wait_s: after a failure; doubled at each further one, with a quarter of scatter.
    """

    batch_samples: int = 20_000
    first_wait_s: float = 0.5
    longest_wait_s: float = 30.0

    def wait_s(self, failures: int, asked_s: float, chance: float) -> float:
        """How long to wait after so many failures in a row.

        Args:
            asked_s: what the server asked for; never less than that.
            chance: from 0 to 1.

        Example:
            >>> Pace().wait_s(3, 0.0, 0.5), Pace().wait_s(1, 7.0, 0.5)
            (2.0, 7.0)
        """
        grown = min(self.first_wait_s * 2.0 ** min(failures - 1, 30), self.longest_wait_s)
        return max(grown * (0.75 + 0.5 * chance), asked_s)


class Deliverer:
    """Hands over what waits, oldest first.

    A frame counts as delivered only after the server has it, so that an end at any moment loses nothing; what
    was handed over without this side hearing of it goes again, as the same points.

    Args:
        newest: the newest sample of each tag in what was delivered before.
    """

    def __init__(
        self,
        waiting: Waiting,
        server: Server,
        tags: Mapping[str, Tag],
        *,
        pace: Pace,
        newest: Newest | None = None,
        now_ns: Callable[[], int] = time.time_ns,
    ) -> None:
        self._waiting = waiting
        self._newest = newest or Newest()
        self._server = server
        self._pace = pace
        self._now_ns = now_ns
        self._tags = dict(tags)
        self._tags_due = True
        self._tags_sent_ns = 0
        self._state = threading.Condition()
        self._failures = 0
        self._reason = ""
        self._news = False
        self._stopping = False
        self._done = 0
        self._thread = threading.Thread(target=self._run, name="influx-delivery", daemon=True)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def wake(self, tags: Mapping[str, Tag] | None = None) -> None:
        """Say that something waits; with the tags if they changed."""
        with self._state:
            if tags is not None:
                self._tags, self._tags_due = dict(tags), True
            self._news = True
            self._state.notify_all()

    def wait(self, number: int, timeout_s: float, *, held_too: bool = False) -> bool:
        """Wait until the server has the tags and the frames up to a number; gives whether it has.

        Args:
            held_too: wait on while the server is away.
        """

        def over() -> bool:
            return self._has(number) or self._stopping or (self._failures > 0 and not held_too)

        with self._state:
            self._state.wait_for(over, timeout_s)
            return self._has(number)

    def reason(self) -> str:
        """Why the server does not take what waits; empty when nothing is wrong."""
        with self._state:
            return self._reason

    def stop(self, timeout_s: float) -> None:
        """End; what waits stays on disk."""
        with self._state:
            self._stopping = True
            self._state.notify_all()
        self._thread.join(timeout_s)
        if not self._thread.is_alive():
            self._waiting.close()

    def _has(self, number: int) -> bool:
        return self._done >= number and not self._tags_due

    def _run(self) -> None:
        while not self._stopping:
            try:
                busy = self._turn()
            except MeltledgerError as error:
                self._failed(str(error), error.wait_s if isinstance(error, ServerAway) else 0.0)
            except Exception as error:  # a mistake of ours must not end delivery for good
                _log.exception("delivery failed", line=self._server.place.line)
                self._failed(f"{type(error).__name__}: {error}", 0.0)
            else:
                self._rest(busy)

    def _turn(self) -> bool:
        """Hand over the tags if they are due, then one batch; gives whether there was one."""
        with self._state:
            self._news = False
            due = self._tags_due or self._now_ns() - self._tags_sent_ns > _DAY_NS
            tags = self._tags
        if due and tags:
            # Later than before, whatever the clock did: the newest point of a tag is the one that counts.
            self._tags_sent_ns = max(self._now_ns(), self._tags_sent_ns + 1)
            self._send(tag_lines(tags.values(), self._server.place.line, self._tags_sent_ns))
        # Asked first: what is appended meanwhile is not among what was delivered.
        last = self._waiting.last_number()
        try:
            batch = self._waiting.first(self._pace.batch_samples)
        except StoredDataDamaged as error:
            self._waiting.set_first_aside(str(error))
            _log.error("damaged frame, kept aside", line=self._server.place.line, reason=str(error))
            return True
        if batch:
            self._hand_over(batch)
            last = batch[-1].number
            for one in batch:
                self._newest.take(one.number, one.frame)
            self._waiting.delivered(last, self._newest.to_bytes())
        self._went_well(tags, last)
        return bool(batch)

    def _hand_over(self, batch: Sequence[Numbered]) -> None:
        """Send the batch; what the server will never take is found by halving and set aside."""
        line = self._server.place.line
        paths = {tag.id: path for path, tag in self._tags.items()}
        try:
            # Samples first: who sees a frame's number finds its samples.
            samples = sample_lines(batch, line, paths)
            self._send([*samples, *frame_lines(batch, line)])
        except Refused as error:
            if len(batch) > 1:
                middle = len(batch) // 2
                self._hand_over(batch[:middle])
                self._hand_over(batch[middle:])
                return
            self._waiting.set_aside(batch[0], str(error))
            _log.error("frame refused, kept aside", line=line, number=batch[0].number, reason=str(error))
            with suppress(Refused):
                self._send(frame_lines(batch, line))

    def _send(self, lines: Sequence[str]) -> None:
        """Send lines, in smaller pieces where the server finds them too many."""
        if not lines:
            return
        try:
            self._server.write(lines)
        except Refused as error:
            if error.status != TOO_LARGE or len(lines) == 1:
                raise
            middle = len(lines) // 2
            self._send(lines[:middle])
            self._send(lines[middle:])

    def _went_well(self, tags: Mapping[str, Tag], number: int) -> None:
        with self._state:
            if self._reason:
                _log.info("server takes samples again", line=self._server.place.line)
            self._failures, self._reason = 0, ""
            self._done = max(self._done, number)
            if tags is self._tags:
                self._tags_due = False
            self._state.notify_all()

    def _failed(self, reason: str, asked_s: float) -> None:
        with self._state:
            if not self._failures:
                _log.warning("samples wait on disk", line=self._server.place.line, reason=reason)
            self._failures += 1
            self._reason = reason
            # What comes back may be another server, or one that was emptied: it needs the tags again.
            self._tags_due = bool(self._tags)
            self._state.notify_all()
            pause = self._pace.wait_s(self._failures, asked_s, random.random())
            self._state.wait_for(lambda: self._stopping, pause)

    def _rest(self, busy: bool) -> None:
        with self._state:
            if not busy:
                self._state.wait_for(lambda: self._news or self._stopping, 60.0)
