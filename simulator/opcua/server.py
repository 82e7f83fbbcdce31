"""Serves a simulated line over OPC UA, in real time or faster."""

from __future__ import annotations

import asyncio
import contextlib
import signal
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from historian.errors import WrongInput
from historian.frame import NS
from historian.tags import Tag
from simulator.opcua.archive import Archive
from simulator.opcua.ledger import Ledger, read_ledger
from simulator.opcua.places import NAMESPACE, FlatSpace, Space
from simulator.opcua.published import Publication
from simulator.opcua.security import Security
from simulator.opcua.served import Features, ServedLine
from simulator.opcua.trouble import Trouble
from simulator.run import Recorder, Run, published_tags
from simulator.scenario import Scenario

__all__ = ["MAX_SPEED", "NAMESPACE", "Serving", "serve"]

MAX_SPEED = 20.0


@dataclass(frozen=True, slots=True)
class Serving:
    """What is being served, told once it is reachable.

    Attributes:
        endpoint: where.
        t0_ns: source time of the scenario's second 0, UTC nanoseconds.
        start_s: the first second published.
        tags: what is published.
        line: the served line itself, for whoever wants to make it misbehave.
    """

    endpoint: str
    t0_ns: int
    start_s: int
    tags: tuple[Tag, ...]
    line: ServedLine


async def serve(
    scenario: Scenario,
    *,
    endpoint: str = "opc.tcp://127.0.0.1:4840",
    speed: float = 1.0,
    start_s: int = 0,
    t0_ns: int | None = None,
    aux_channels: int = 0,
    ledger: Path | None = None,
    history: bool = False,
    history_file: Path | None = None,
    security: Security | None = None,
    alarms: bool = False,
    space: Space | None = None,
    troubles: Sequence[Trouble] = (),
    stop: asyncio.Event | None = None,
    ready: Callable[[Serving], None] | None = None,
) -> None:
    """Serve the line until stopped; it goes on after the scenario's duration.

    Every simulated second is published, at any speed; its samples carry the source time t0 + second.

    Args:
        speed: simulated seconds a second, 1–20.
        start_s: second to start at; the plant gets there first, unsampled, on the same trajectory.
        t0_ns: source time of second 0, whole microseconds; None: such that ``start_s`` is now.
        aux_channels: made-up channels beside the line's, for a load.
        ledger: file that keeps each published sample.
        history: whether the machine remembers a day of its samples and answers HistoryRead.
        history_file: the same, and a ledger that is read at the start and gone on with.
        security: certificates and users; None: open to everybody.
        alarms: whether the machine has an alarm list of its own (Alarms & Conditions, and a plain list).
        space: how the nodes are laid out; None: flat.
        troubles: what the server does to its clients, and when.
        stop: ends the serving; None: SIGTERM and SIGINT do.
        ready: called once clients can connect.

    Raises:
        WrongInput: a speed, start or time out of range.
        OutsideWorldAway: the endpoint cannot be listened on.
        StoredDataDamaged: the history file is no ledger.
    """
    if history_file is not None and history_file == ledger:
        raise WrongInput(f"{ledger}: history and ledger cannot be one file; name two")
    _check(speed, start_s, t0_ns)
    run = Run(scenario)
    # Blocks for about a second where the start is hours in: nobody is connected yet.
    run.advance(start_s)
    recorder = Recorder(run, aux_channels=aux_channels)
    tags = published_tags(scenario, aux_channels=aux_channels)
    archive = _remembered(history_file) if history or history_file is not None else None
    features = Features(FlatSpace() if space is None else space, archive, security, alarms)
    with contextlib.ExitStack() as stack:
        books = [stack.enter_context(Ledger(ledger))] if ledger is not None else []
        if history_file is not None:
            books.append(stack.enter_context(Ledger(history_file, append=True)))
        if stop is None:
            stop = stack.enter_context(_stopped_by_signal())
        line = ServedLine(endpoint, tags, features, books)
        await line.build()
        start_ns, begun = time.time_ns() // 1_000_000 * 1_000_000, time.monotonic()
        zero_ns = start_ns - start_s * NS if t0_ns is None else t0_ns
        publication = Publication(recorder, zero_ns)
        await line.publish(publication.at(start_s))
        await line.listen()
        try:
            if ready is not None:
                ready(Serving(endpoint, zero_ns, start_s, tuple(tags), line))
            await _go_on(line, publication, _Pace(start_s, begun, speed), stop, troubles)
        finally:
            await line.stop()


def _remembered(file: Path | None) -> Archive:
    archive = Archive()
    if file is not None:
        archive.keep(read_ledger(file))
    return archive


def _check(speed: float, start_s: int, t0_ns: int | None) -> None:
    if not 1.0 <= speed <= MAX_SPEED:
        raise WrongInput(f"speed {speed:g}: the simulated line runs at 1 to {MAX_SPEED:g} times real time")
    if start_s < 0:
        raise WrongInput(f"start at {start_s} s: a scenario starts at second 0 or later")
    if t0_ns is not None and t0_ns % 1000:
        raise WrongInput("t0_ns must be whole microseconds: the server's time stamps are no finer")


@contextlib.contextmanager
def _stopped_by_signal() -> Iterator[asyncio.Event]:
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(number, stop.set)
    try:
        yield stop
    finally:
        for number in (signal.SIGTERM, signal.SIGINT):
            loop.remove_signal_handler(number)


@dataclass(frozen=True, slots=True)
class _Pace:
    """When each second is due: ``start_s`` was published at ``begun_s`` of the monotonic clock."""

    start_s: int
    begun_s: float
    speed: float

    def due_s(self, second: int) -> float:
        return self.begun_s + (second - self.start_s) / self.speed


async def _go_on(
    line: ServedLine, publication: Publication, pace: _Pace, stop: asyncio.Event, troubles: Sequence[Trouble]
) -> None:
    """Publish second after second; a late one is made up for, so that the pace does not drift."""
    second = pace.start_s
    coming = sorted(troubles, key=lambda t: t.at_s, reverse=True)
    while not stop.is_set():
        second += 1
        due_in_s = pace.due_s(second) - time.monotonic()
        # Even when late: give the server its turn.
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(stop.wait(), max(0.0, due_in_s))
        if stop.is_set():
            return
        while coming and time.monotonic() >= pace.begun_s + coming[-1].at_s:
            await coming.pop().make(line)
        await line.publish(publication.at(second))
