"""Builds a line's parts from its file and runs them under one task group."""

from __future__ import annotations

import asyncio
import fcntl
import os
import time
from collections.abc import AsyncIterator, Callable, Iterable, Iterator, Sequence
from contextlib import ExitStack, asynccontextmanager, closing, contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import structlog

from collector import (
    Clock,
    Inbox,
    Source,
    WallClock,
    Writer,
    collect,
    newest_epochs,
    newest_samples,
)
from historian.errors import OutsideWorldAway, StoreReadOnly, WrongInput
from historian.event import Event
from historian.frame import NS
from historian.retention import EVER_NS, Window
from historian.store import Store
from historian.tags import Tag
from meltledger.config import LineConfig
from meltledger.judge import LiveJudge
from meltledger.keeping import keep_house
from meltledger.sources import source_mappings, sources_of
from meltledger.stores import is_embedded, open_store
from rules.detectors import detectors_for
from rules.engine import Engine
from rules.journal import Journal
from trials.record import TrialRecord

log = structlog.get_logger()


@dataclass(frozen=True, slots=True)
class Parts:
    """What a running line consists of, open and ready.

    Attributes:
        store, journal, trials: where samples, alarms and trials are kept.
        tags: as the store knows them, by path.
        judge: the rules, caught up with what is stored.
    """

    store: Store
    journal: Journal
    trials: TrialRecord
    tags: dict[str, Tag]
    judge: LiveJudge


MoreSources = Callable[[Parts], Iterable[Source]]


async def run_line(
    config: LineConfig, stop: asyncio.Event, *, more_sources: MoreSources | None = None
) -> None:
    """Collect, keep and judge one line until ``stop`` is set.

    After a stop, a crash or a power cut it goes on where it stood: the trial under way stays open, frames
    that were stored but not judged are judged first, and the gap is said in one finding.

    Args:
        more_sources: further sources, made from the open parts.

    Raises:
        WrongInput: another run writes here, or the store holds real data and the line is simulated (or the
            other way round).
        StoreFull, StoreReadOnly: naming the file and the remedy.
    """
    with opened(config) as parts:
        mappings = source_mappings(config)
        inbox = Inbox(
            mappings,
            parts.tags,
            newest_samples(parts.store, mappings),
            epochs=newest_epochs(parts.store, mappings, parts.store.last_number()),
        )
        clock = WallClock()
        writer = Writer(parts.store, inbox, parts.judge, clock, parts.journal.event)
        sources = sources_of(config, parts.tags, clock)
        sources += more_sources(parts) if more_sources else ()
        async with _kept_house(config, parts, clock):
            collecting = asyncio.create_task(collect(sources, inbox, writer))
            stopping = asyncio.create_task(stop.wait())
            await asyncio.wait([collecting, stopping], return_when=asyncio.FIRST_COMPLETED)
            stopping.cancel()
            collecting.cancel()
            try:
                await collecting
            except asyncio.CancelledError:
                log.info("line_stopped", line=config.facts.name)


@asynccontextmanager
async def _kept_house(config: LineConfig, parts: Parts, clock: Clock) -> AsyncIterator[None]:
    """Seals, rolls up and lets go in an embedded store's folder meanwhile."""
    if not is_embedded(config):
        yield
        return

    def held() -> list[Window]:
        trial = parts.trials.under_way()
        return [] if trial is None else [(trial.start_ns, EVER_NS)]

    name, tell = config.facts.name, parts.journal.event
    keeping = asyncio.create_task(keep_house(config.folder, name, config.keep, clock, tell, held))
    try:
        yield
    finally:
        keeping.cancel()
        with suppress(asyncio.CancelledError):
            await keeping


@contextmanager
def opened(config: LineConfig) -> Iterator[Parts]:
    """The line's parts, opened for writing and closed at the end."""
    with ExitStack() as stack:
        stack.enter_context(only_writer(config.folder))
        store = stack.enter_context(closing(open_store(config)))
        _never_mixed(config, store)
        tags = store.register(config.tags)
        journal = stack.enter_context(closing(Journal.open(config.journal)))
        trials = stack.enter_context(closing(TrialRecord.open(config.trials)))
        judge = LiveJudge(Engine(tags, lambda: detectors_for(config.facts, tags)), journal)
        started = time.perf_counter()
        frames = judge.catch_up(store)
        if frames:
            log.info("caught_up", frames=frames, seconds=round(time.perf_counter() - started, 1))
        _take_up_trial(config, trials, journal)
        yield Parts(store, journal, trials, tags, judge)


@contextmanager
def only_writer(folder: Path) -> Iterator[None]:
    """Make sure that this process alone writes into the folder; the kernel lets go when it ends, however.

    Raises:
        WrongInput: another process writes there.
        StoreReadOnly: the folder cannot be made or written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        handle = os.open(folder / "writer.lock", os.O_RDWR | os.O_CREAT, 0o600)
    except OSError as error:
        raise StoreReadOnly(
            f"{folder}: cannot be written ({error.strerror}); let this user write there, or change store.path"
        ) from error
    try:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise WrongInput(f"{folder}: another `meltledger run` writes here; stop it first") from error
        yield
    finally:
        os.close(handle)


def is_written(folder: Path) -> bool:
    """Whether a process writes into the folder now."""
    try:
        handle = os.open(folder / "writer.lock", os.O_RDONLY)
    except OSError:
        return False
    try:
        # Let go of at once; shared, so that two who ask are not in each other's way.
        fcntl.flock(handle, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError:
        return True
    finally:
        os.close(handle)
    return False


def _never_mixed(config: LineConfig, store: Store) -> None:
    """Refuse to put simulated samples beside real ones."""
    kept: Sequence[Tag] = [t for t in store.tags().values() if t.source != "edge"]
    other = next((t for t in kept if t.simulated != config.simulated), None)
    if other is not None:
        there, here = ("real", "simulated") if config.simulated else ("simulated", "real")
        raise WrongInput(
            f"{config.folder}: holds {there} data ({other.path}), and the line's sources are {here}; "
            f"the two are never mixed: give this line a folder of its own in {config.path}"
        )


def _take_up_trial(config: LineConfig, trials: TrialRecord, journal: Journal) -> None:
    """Go on with the trial under way, or open one: nothing is recorded outside a trial."""
    now_ns = time.time_ns()
    under_way = trials.under_way()
    if under_way is None:
        zone = ZoneInfo(config.file.line.zone)
        name = f"{config.facts.name}, {datetime.fromtimestamp(now_ns // NS, zone):%Y-%m-%d %H:%M}"
        plan = {"throughput_kg_h": config.facts.planned_kg_h}
        trials.open_trial(name, customer="", code_name="", start_ns=now_ns, plan=plan)
        kind, text = "trial-opened", f"Trial '{name}' was opened at the start of recording."
    else:
        kind, text = "trial-reopened", f"Recording goes on; trial '{under_way.name}' is still under way."
    try:
        journal.event(Event(now_ns, "edge", kind, text))
    except OutsideWorldAway as error:
        log.error("event_not_written", reason=str(error))
