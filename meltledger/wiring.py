"""Builds a line's parts from its file and runs them under one task group."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable, Iterable, Mapping, Sequence
from contextlib import asynccontextmanager, suppress
from functools import partial

import structlog

from collector import (
    Clock,
    Gap,
    Inbox,
    Roster,
    Source,
    SourceMapping,
    WallClock,
    Watch,
    Writer,
    collect,
    newest_epochs,
    newest_samples,
    unfilled_gaps,
)
from historian.clocks.trusted import Known
from historian.errors import OutsideWorldAway
from historian.memory import hold_little
from historian.retention import Window
from historian.store import Sample
from meltledger.apart import UpkeepApart
from meltledger.believing import is_believed, what_is_known
from meltledger.config import LineConfig
from meltledger.customers import held_windows
from meltledger.digestdesk import digested
from meltledger.keeping import keep_house
from meltledger.measured import measured
from meltledger.parts import Parts, opened
from meltledger.reload import Reload
from meltledger.sources import source_mappings, sources_of
from meltledger.stores import is_embedded

log = structlog.get_logger()


MoreSources = Callable[[Parts], Iterable[Source]]


async def run_line(
    config: LineConfig,
    stop: asyncio.Event,
    *,
    more_sources: MoreSources | None = None,
    again: asyncio.Event | None = None,
    clock: Clock | None = None,
) -> None:
    """Collect, keep and judge one line until ``stop`` is set.

    After a stop, a crash or a power cut it goes on where it stood: the trial under way stays open, frames
    that were stored but not judged are judged first, and the gap is said in one finding.

    Args:
        more_sources: further sources, made from the open parts.
        again: set when the line's file is to be read again.
        clock: the edge's; this computer's when left out.

    Raises:
        WrongInput: another run writes here, or the store holds real data and the line is simulated (or the
            other way round).
        StoreFull, StoreReadOnly: naming the file and the remedy.
    """
    hold_little()
    with opened(config) as parts:
        mappings = source_mappings(config)
        passed_ns = max((s.arrival_ns for s in parts.store.latest().values()), default=None)
        newest = newest_samples(parts.store, mappings)
        inbox = Inbox(
            mappings,
            parts.tags,
            newest,
            epochs=newest_epochs(parts.store, mappings, parts.store.last_number()),
            passed_ns=passed_ns,
            believed=partial(is_believed, config.folder),
            unfilled=_unfilled(parts, mappings, newest),
        )
        clock = clock or WallClock()
        roster = Roster(inbox, clock)
        watch = Watch(lambda: roster.sources, inbox, parts.tags, clock)
        writer = Writer(parts.store, inbox, parts.judge, clock, parts.journal.event, watch=watch)
        for source in sources_of(config, parts.tags, clock, parts.journal):
            roster.start(source)
        for source in more_sources(parts) if more_sources else ():
            roster.start(source)
        reload = Reload(config, parts, inbox, roster, writer, watch, clock)
        known = partial(what_is_known, config.folder, inbox, passed_ns)
        keeping = _kept_house(config, parts, clock, known)
        desk = digested(config, clock, parts.journal.event)
        async with keeping, measured(config, watch, clock, inbox.tell), desk:
            collecting = asyncio.create_task(collect(roster, writer))
            stopping = asyncio.create_task(stop.wait())
            reading = asyncio.create_task(_read_again(reload, again or asyncio.Event()))
            await asyncio.wait([collecting, stopping, reading], return_when=asyncio.FIRST_COMPLETED)
            for task in (stopping, reading, collecting):
                task.cancel()
            try:
                await collecting
            except asyncio.CancelledError:
                log.info("line_stopped", line=config.facts.name)


def _unfilled(
    parts: Parts, mappings: Sequence[SourceMapping], newest: Mapping[str, Sample]
) -> dict[str, list[Gap]]:
    """Gaps that the last run did not live to fill; none where the store's server does not answer."""
    try:
        return unfilled_gaps(parts.store, mappings, newest)
    except OutsideWorldAway as error:
        log.warning("gaps_not_looked_for", reason=str(error))
        return {}


async def _read_again(reload: Reload, again: asyncio.Event) -> None:
    while True:
        await again.wait()
        again.clear()
        try:
            await reload.again()
        except Exception:
            # Not foreseen. The line must go on recording all the same.
            log.exception("reload_failed")


@asynccontextmanager
async def _kept_house(
    config: LineConfig, parts: Parts, clock: Clock, known: Callable[[], Known]
) -> AsyncIterator[None]:
    """Seals, rolls up and lets go in an embedded store's folder meanwhile."""
    if not is_embedded(config):
        yield
        return

    def held() -> list[Window]:
        return held_windows(config, parts.trials.trials(), clock.now_ns())

    name, tell = config.facts.name, parts.journal.event
    keeping = asyncio.create_task(
        keep_house(config.folder, name, config.keep, clock, tell, held, known=known, upkeep=UpkeepApart.open)
    )
    try:
        yield
    finally:
        keeping.cancel()
        with suppress(asyncio.CancelledError):
            await keeping
