"""What a running line consists of: opened in the right order, alone, and closed at the end."""

from __future__ import annotations

import fcntl
import os
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import structlog

from historian.errors import OutsideWorldAway, StoreReadOnly, WrongInput
from historian.event import Event
from historian.frame import NS
from historian.store import Store
from historian.tags import Tag
from meltledger.config import LineConfig
from meltledger.judge import LiveJudge
from meltledger.measured import all_tags
from meltledger.stores import open_store
from rules.detectors import detectors_for
from rules.engine import Engine
from rules.journal import Journal
from rules.line import LineFacts
from rules.table.settings import latching_rules
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


@contextmanager
def opened(config: LineConfig) -> Iterator[Parts]:
    """The line's parts, opened for writing and closed at the end."""
    with ExitStack() as stack:
        stack.enter_context(only_writer(config.folder))
        store = stack.enter_context(closing(open_store(config)))
        _never_mixed(config, store)
        tags = store.register(all_tags(config))
        journal = stack.enter_context(closing(Journal.open(config.journal)))
        trials = stack.enter_context(closing(TrialRecord.open(config.trials)))
        judge = LiveJudge(engine_of(config.facts, tags), journal)
        started = time.perf_counter()
        frames = judge.catch_up(store)
        if frames:
            log.info("caught_up", frames=frames, seconds=round(time.perf_counter() - started, 1))
        _take_up_trial(config, trials, journal)
        yield Parts(store, journal, trials, tags, judge)


def engine_of(facts: LineFacts, tags: Mapping[str, Tag]) -> Engine:
    """The line's rules, as its file sets them."""
    return Engine(tags, lambda: detectors_for(facts, tags), latching=latching_rules(facts))


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
