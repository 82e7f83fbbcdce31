"""Makes and sends a running line's digests when a shift or a day is over, beside the recording."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Iterator, Mapping, Sequence
from contextlib import asynccontextmanager, closing, contextmanager, suppress
from typing import Final
from zoneinfo import ZoneInfo

import structlog

from collector.clock import Clock
from historian.errors import MeltledgerError
from historian.event import Event, EventSink
from historian.frame import NS
from meltledger.config import LineConfig
from meltledger.digesting import make_digest
from meltledger.posting import carriers_of, in_doubt_words, letters_of, outbox_path, told_words
from rules.digest import Period, days_ended, shifts_ended, start_of
from rules.digest.delivery import DOUBT_NS, Fate, Told, doubts, empty
from rules.digest.outbox import Outbox, Post

EVERY_S: Final = 20.0
SETTLE_NS: Final = 120 * NS
"""So long after a shift its last seconds are judged, and the rules have told what they could not judge."""
AGAIN_NS: Final = 600 * NS
"""So long after a digest could not be made it is tried again."""
BACK_NS: Final = 48 * 3600 * NS
"""Digests that came due while the program did not run are made from so far back, and no further."""

log = structlog.get_logger()


@asynccontextmanager
async def digested(config: LineConfig, clock: Clock, tell: EventSink) -> AsyncIterator[None]:
    """Make and send digests meanwhile, where the line's file asks for them.

    What fails is told and tried again: a line is recorded whether its digests arrive or not.
    """
    if config.file.digest is None:
        yield
        return
    desk = Desk(config, clock, tell)
    working = asyncio.create_task(_work(desk))
    try:
        yield
    finally:
        working.cancel()
        with suppress(asyncio.CancelledError):
            await working


async def _work(desk: Desk) -> None:
    """On a thread, because drawing takes a second and a mail server answers late."""
    while True:
        await asyncio.shield(asyncio.to_thread(desk.step))
        await asyncio.sleep(EVERY_S)


class Desk:
    """Does what is due: makes the digests of what is over, sends what waits, tells what went wrong.

    Args:
        tell: where events go; called on the thread of ``step``.
    """

    def __init__(self, config: LineConfig, clock: Clock, tell: EventSink) -> None:
        self._config, self._clock, self._tell = config, clock, tell
        self._zone = ZoneInfo(config.file.line.zone)
        self._trouble: dict[str, str] = {}
        self._not_before_ns = 0
        self._doubted: set[tuple[int, int]] = set()
        self._put_off: set[int] = set()

    def step(self) -> None:
        """Do what is due now; what fails is told once and tried again at the next step."""
        with self._told("sending"), closing(Outbox(outbox_path(self._config))) as outbox:
            with self._told("making"):
                self._make(outbox)
            self._send(outbox)

    def _make(self, outbox: Outbox) -> None:
        now_ns = self._clock.now_ns()
        if now_ns < self._not_before_ns:
            return
        # Counts only where it fails: what cannot be made is tried again, but not at every step.
        self._not_before_ns = now_ns + AGAIN_NS
        due = self._due(outbox.made_until_ns(now_ns), now_ns)
        for n, period in enumerate(due):
            in_doubt = in_doubt_words(doubts(outbox, now_ns - DOUBT_NS), self._zone)
            made = make_digest(self._config, period, in_doubt=in_doubt, now_ns=now_ns)
            letters = letters_of(self._config, made, now_ns)
            # Of a shift and a day that end together, the first alone does not bring us past that end.
            is_last = all(p.end_ns > period.end_ns for p in due[n + 1 :])
            until_ns = period.end_ns if is_last else None
            new = outbox.put(period.key, letters, now_ns, made_until_ns=until_ns)
            log.info("digest_made", line=self._config.facts.name, period=period.key, letters=new)
        self._not_before_ns = 0

    @contextmanager
    def _told(self, doing: str) -> Iterator[None]:
        """What fails is told once, until it works again."""
        try:
            yield
        except MeltledgerError as error:
            self._say_trouble(doing, str(error))
        except Exception as error:
            # Not foreseen. The line must go on recording all the same.
            log.exception("digest_failed")
            name = type(error).__name__
            self._say_trouble(doing, f"{doing} a digest failed ({name}); please report this as a defect")
        else:
            self._trouble.pop(doing, None)

    def _due(self, made_until_ns: int, now_ns: int) -> Sequence[Period]:
        section = self._config.file.digest
        if section is None:
            return ()
        after_ns, until_ns = max(made_until_ns, now_ns - BACK_NS), now_ns - SETTLE_NS
        if until_ns <= after_ns:
            return ()
        starts = [start_of(s) for s in section.shifts]
        periods = shifts_ended(starts, self._zone, after_ns, until_ns)
        periods += days_ended(self._zone, after_ns, until_ns) if section.daily else []
        return sorted(periods, key=lambda p: (p.end_ns, p.kind))

    def _send(self, outbox: Outbox) -> None:
        for one in empty(outbox, carriers_of(self._config), self._clock.now_ns):
            self._tell_of(one)
        for post in doubts(outbox, self._clock.now_ns() - DOUBT_NS):
            if (post.id, post.changed_ns) not in self._doubted:
                self._doubted.add((post.id, post.changed_ns))
                (words,) = in_doubt_words([post], self._zone)
                self._event("digest-in-doubt", words, post)

    def _tell_of(self, one: Told) -> None:
        about, said = told_words(one.post), one.outcome.said
        match one.outcome.fate:
            case Fate.SENT:
                log.info("digest_sent", period=one.post.period, recipient=about, said=said)
                if one.post.id in self._put_off:
                    self._put_off.discard(one.post.id)
                    self._event("digest-sent", f"The {about} was sent after all.", one.post)
            case Fate.LATER if one.post.id not in self._put_off:
                self._put_off.add(one.post.id)
                words = f"The {about} was not sent yet: {said}. It waits on disk and is tried again."
                self._event("digest-put-off", words, one.post)
            case Fate.REFUSED:
                words = f"The {about} was refused: {said}. It is not tried again."
                self._event("digest-refused", words, one.post)
            case _:
                log.warning("digest_not_sent", period=one.post.period, recipient=about, said=said)

    def _event(self, kind: str, words: str, post: Post) -> None:
        log.warning(kind.replace("-", "_"), period=post.period, words=words)
        self._keep(kind, words, {"period": post.period, "name": post.name})

    def _say_trouble(self, doing: str, words: str) -> None:
        if words != self._trouble.get(doing):
            self._trouble[doing] = words
            log.error("digest_trouble", doing=doing, reason=words)
            self._keep("digest-trouble", f"The line is recorded, but {words}.", {})

    def _keep(self, kind: str, words: str, data: Mapping[str, str]) -> None:
        try:
            self._tell(Event(self._clock.now_ns(), "edge", kind, words, data))
        except MeltledgerError as error:
            log.error("event_not_written", reason=str(error))
