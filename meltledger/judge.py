"""Carries stored frames to the rules and what they say to the journal."""

from __future__ import annotations

import structlog

from historian.errors import OutsideWorldAway
from historian.frame import NS, Frame
from historian.store import Store
from rules.engine import Engine
from rules.entry import Entry
from rules.journal import Journal
from rules.resume import follow_acts, resume

_SNAPSHOT_EVERY_NS = 10 * NS

log = structlog.get_logger()


class LiveJudge:
    """Judges frames that are on disk; its journal goes on where it stood, after a stop or a power cut.

    Entries that the journal cannot take wait in memory. A stop loses none of them: the frames after the
    last saved state are judged again at the next start, with the same entries as the result.
    """

    def __init__(self, engine: Engine, journal: Journal) -> None:
        self._engine = engine
        self._journal = journal
        self._acts_read = 0
        self._waiting: list[Entry] = []
        self._saved_ns = 0
        self._saved_seq = -1

    def catch_up(self, store: Store) -> int:
        """Take up the saved state and judge what was stored but not yet judged; gives how many frames."""
        after = resume(self._engine, self._journal)
        frames = 0
        for seq, frame in store.frames(after):
            frames += 1
            self._engine.feed(seq, frame)
            self._keep(self._engine.advance(frame.arrival_ns), frame.arrival_ns)
        return frames

    def feed(self, seq: int, frame: Frame) -> None:
        """Take the next frame in order of arrival; it is on disk."""
        self._engine.feed(seq, frame)

    def advance(self, now_ns: int) -> None:
        """Judge the second that is over, with the acts that people made since."""
        self._acts_read = follow_acts(self._engine, self._journal, self._acts_read)
        self._keep(self._engine.advance(now_ns), now_ns)

    def _keep(self, entries: list[Entry], now_ns: int) -> None:
        self._waiting += entries
        due = now_ns - self._saved_ns >= _SNAPSHOT_EVERY_NS and self._engine.seq != self._saved_seq
        if not self._waiting and not due:
            return
        state = (self._engine.seq, now_ns, self._engine.save()) if due else None
        try:
            self._journal.append(self._waiting, state)
        except OutsideWorldAway as error:
            log.error("journal_not_written", waiting=len(self._waiting), reason=str(error))
            return
        self._waiting = []
        if due:
            self._saved_ns, self._saved_seq = now_ns, self._engine.seq
