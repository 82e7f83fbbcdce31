"""Seals, rolls up and lets go beside the writer of a running line, once a minute."""

from __future__ import annotations

import asyncio
import time
from collections import deque
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import Final, Protocol

import structlog

from collector.clock import Clock
from collector.trouble import Trouble
from historian.clocks.trusted import Known, Now, trusted_now
from historian.embedded.upkeep import Kept, Upkeep
from historian.errors import MeltledgerError
from historian.event import Event, EventSink
from historian.retention import Keep, Window

EVERY_S: Final = 60.0

_log = structlog.get_logger(__name__)
_NOTE: Final = "They stay readable in recent.db, recording goes on, and sealing is tried again every minute."


class Steps(Protocol):
    """Does what is due in a folder, step by step."""

    def step(self, now_ns: int, held: Sequence[Window] = ()) -> Kept:
        """As ``Upkeep.step``."""

    def close(self) -> None:
        """Let go of what is held between two steps."""


OpenUpkeep = Callable[[Path, str, Keep], Steps]


async def keep_house(
    folder: Path,
    line: str,
    keep: Keep,
    clock: Clock,
    sink: EventSink,
    held: Callable[[], Sequence[Window]],
    *,
    every_s: float = EVERY_S,
    known: Callable[[], Known] = Known,
    upkeep: OpenUpkeep = Upkeep.open,
) -> None:
    """Do what is due in an embedded store's folder until cancelled; the step under way is ended first.

    Whatever fails is told once, and once more when it is over; it never ends by itself, because samples must
    be recorded whether they can be sealed or not.

    Args:
        sink: where events go; called on a thread of its own, as is ``held``.
        held: gives the windows that stay whatever their age.
        known: what speaks for or against the clock; while it is not believed nothing is sealed or let go of.
            Its ``passed_ns`` counts at the first step.
        upkeep: does the steps.
    """
    house = _House(folder, line, keep, clock, sink, held, known, upkeep)
    loop = asyncio.get_running_loop()
    with ThreadPoolExecutor(1, "meltledger-upkeep") as worker:
        try:
            while True:
                await loop.run_in_executor(worker, house.step)
                await asyncio.sleep(every_s)
        finally:
            await asyncio.shield(loop.run_in_executor(worker, house.close))


class _House:
    """The folder, and what is wrong with it; used on one thread."""

    def __init__(
        self,
        folder: Path,
        line: str,
        keep: Keep,
        clock: Clock,
        sink: EventSink,
        held: Callable[[], Sequence[Window]],
        known: Callable[[], Known],
        upkeep: OpenUpkeep = Upkeep.open,
    ) -> None:
        self._known = known
        self._open = upkeep
        self._passed_ns: int | None = None
        self._looked_ns = 0  # by a clock that nobody sets
        self._doubt = ""
        self._folder, self._line, self._keep = folder, line, keep
        self._clock, self._sink, self._held = clock, sink, held
        self._upkeep: Steps | None = None
        self._sealing = Trouble("Samples cannot be sealed", "sealing-trouble", "sealing-back")
        self._untold: deque[Event] = deque()

    def step(self) -> None:
        """Do what is due, as far as it gets, and tell how it went."""
        now_ns = self._clock.now_ns()
        try:
            if not self._is_trusted(now_ns):
                self._tell_all()
                return
            self._upkeep = self._upkeep or self._open(self._folder, self._line, self._keep)
            kept = self._upkeep.step(now_ns, self._held())
        except MeltledgerError as error:
            self._failed(error, now_ns)
        except Exception as error:
            # Not foreseen. The line must go on recording all the same.
            _log.exception("upkeep_failed")
            self._failed(MeltledgerError(f"{self._folder}: {type(error).__name__}: {error}"), now_ns)
        else:
            _tell(kept)
            self._say(self._sealing.over(now_ns, "What had waited is sealed."))
        self._tell_all()

    def close(self) -> None:
        """Let go of the files."""
        if self._upkeep is not None:
            self._upkeep.close()
            self._upkeep = None

    def _is_trusted(self, now_ns: int) -> bool:
        """Whether the clock may be believed; told when that changes."""
        known, looked_ns = self._known(), time.monotonic_ns()
        if self._passed_ns is None:
            self._passed_ns = known.passed_ns
        else:
            self._passed_ns += looked_ns - self._looked_ns
        self._looked_ns = looked_ns
        now = trusted_now(now_ns, replace(known, passed_ns=self._passed_ns))
        if now.trusted:
            self._passed_ns = now_ns
        self._tell_clock(now)
        return now.trusted

    def _tell_clock(self, now: Now) -> None:
        if now.doubt and not self._doubt:
            text = (
                f"This computer's clock is not believed: {now.doubt}. Recording goes on, but nothing is "
                "sealed or let go of meanwhile, so that nothing goes into or out of a wrong day. Remedy: set "
                "the clock or its time server; if it is right, say so with `meltledger clock confirm`."
            )
            self._say(Event(now.ns, "edge", "upkeep-waits", text, {"why": now.doubt}))
        elif self._doubt and not now.doubt:
            text = "This computer's clock is believed again: sealing goes on."
            self._say(Event(now.ns, "edge", "upkeep-goes-on", text))
        self._doubt = now.doubt

    def _failed(self, error: MeltledgerError, now_ns: int) -> None:
        # The next try looks at the folder anew: somebody may have mended it.
        self.close()
        self._say(self._sealing.failed(error, now_ns, _NOTE))

    def _say(self, event: Event | None) -> None:
        if event is not None:
            _log.warning("upkeep_told", kind=event.kind, text=event.text)
            self._untold.append(event)

    def _tell_all(self) -> None:
        """Hand the events on; where the journal's disk is full as well, they wait for the next step."""
        try:
            while self._untold:
                self._sink(self._untold[0])
                self._untold.popleft()
        except MeltledgerError as error:
            _log.error("event_not_written", reason=str(error))


def _tell(kept: Kept) -> None:
    """Log what was done, if anything was."""
    done = {
        "frames_sealed": kept.frames,
        "days_made": kept.days,
        "rollup_files": kept.rollups,
        "segments_gone": len(kept.gone.segments),
        "rollups_gone": len(kept.gone.rollups),
    }
    if any(done.values()):
        _log.info("house_kept", **{what: n for what, n in done.items() if n})
