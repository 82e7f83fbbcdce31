"""``meltledger replay``: judge stored data again with the live rules."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import click

from historian.errors import WrongInput
from historian.frame import NS
from meltledger.cli import FOUND
from meltledger.config import LineConfig, load
from meltledger.stores import open_store
from rules.detectors import detectors_for
from rules.entry import Entry, EntryKind
from rules.journal import Journal
from rules.replay import difference, judged_until, replay, replay_by_source_time
from rules.states import State
from rules.table.settings import latching_rules

_JUDGED = (EntryKind.FINDING, EntryKind.TRANSITION)


@click.command("replay", help="Judge the line's stored data again with the live rules, from the start.")
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--by",
    type=click.Choice(["arrival", "source-time"]),
    default="arrival",
    help="arrival: as it came, which gives the live journal; source-time: as if all had come at once.",
)
@click.option(
    "--until",
    default=None,
    help="Judge what arrived before this time (ISO 8601, site's zone)",
)
@click.option("--compare", is_flag=True, help="Compare with the journal and tell every difference.")
@click.option("--json", "as_json", is_flag=True, help="Machine output, one entry a line.")
def command(file: Path, by: str, until: str | None, compare: bool, as_json: bool) -> int:
    """Print the findings and transitions; with --compare exit with 1 where the journals differ."""
    config = load(file)
    until_ns = _time_ns(until, config) if until else _judged_so_far_ns(config) if compare else None
    started = time.perf_counter()
    entries = [e for e in judge_again(config, by=by, until_ns=until_ns) if e.kind in _JUDGED]
    for entry in [] if compare else entries:
        click.echo(json.dumps(_plain(entry)) if as_json else _sentence(entry, config))
    click.echo(f"{len(entries)} entries in {time.perf_counter() - started:.1f} s", err=True)
    if not compare:
        return 0
    with_journal = _journal_entries(config, until_ns)
    differences = difference(with_journal, entries)
    for words in differences:
        click.echo(words)
    click.echo(f"{len(differences)} differences to the journal's {len(with_journal)} entries")
    return FOUND if differences else 0


def judge_again(config: LineConfig, *, by: str = "arrival", until_ns: int | None = None) -> Iterator[Entry]:
    """The journal entries of the line's stored frames, judged from the start by the rules of its file."""
    store = open_store(config, mode="read")
    try:
        tags = store.tags()
        journal = Journal.open(config.journal, mode="read")
        try:
            acts, taken = journal.acts_after(0), journal.taken()
        finally:
            journal.close()
        way = replay if by == "arrival" else replay_by_source_time
        latching = latching_rules(config.facts)
        yield from way(
            store.frames(),
            tags,
            lambda: detectors_for(config.facts, tags),
            acts,
            taken,
            until_ns,
            latching=latching,
        )
    finally:
        store.close()


def _judged_so_far_ns(config: LineConfig) -> int | None:
    """Start of the last frame's second of arrival: it is judged live only when a later frame comes."""
    store = open_store(config, mode="read")
    try:
        last = [frame.arrival_ns for _, frame in store.frames(store.last_number() - 1)]
    finally:
        store.close()
    return max(last) // NS * NS if last else None


def _journal_entries(config: LineConfig, until_ns: int | None) -> list[Entry]:
    journal = Journal.open(config.journal, mode="read")
    try:
        entries = journal.entries(kinds=_JUDGED)
        return entries if until_ns is None else judged_until(entries, until_ns)
    finally:
        journal.close()


def _time_ns(text: str, config: LineConfig) -> int:
    try:
        when = datetime.fromisoformat(text)
    except ValueError as error:
        raise WrongInput(f"--until '{text}' is no time; write one such as 2031-03-04T14:30") from error
    if when.tzinfo is None:
        when = when.replace(tzinfo=ZoneInfo(config.file.line.zone))
    return int(when.timestamp()) * NS + when.microsecond * 1000


def _plain(entry: Entry) -> dict[str, object]:
    return {
        "time_ns": entry.time_ns,
        "kind": str(entry.kind),
        "rule": entry.rule,
        "subject": entry.subject,
        "by": entry.by,
        "data": entry.data,
    }


def _sentence(entry: Entry, config: LineConfig) -> str:
    when = datetime.fromtimestamp(entry.time_ns // NS, ZoneInfo(config.file.line.zone))
    data = entry.data
    if entry.kind is EntryKind.TRANSITION:
        what = f"{State(data['from']).words} → {State(data['to']).words}"
    else:
        late = " (found late)" if data.get("late") else ""
        what = f"{'began' if data['active'] else 'ended'}{late}: {data['sentence']}"
    return f"{when:%Y-%m-%d %H:%M:%S %Z}  {entry.rule:<17} {entry.subject:<16} {what}"
