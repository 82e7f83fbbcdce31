"""``meltledger review``: what came of a line's alarms, beside the published figures, and what to change."""

from __future__ import annotations

import json
import time
from collections.abc import Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import click

from historian.errors import WrongInput
from historian.frame import NS, Series
from historian.store import Store
from meltledger.cli import FOUND
from meltledger.config import LineConfig, load
from meltledger.stores import store_or_none_yet
from meltledger.windows import length_ns_of, shown, time_ns_of, trial_window_ns
from meltledger.workbook import Sheet, write_workbook
from rules.detectors.recording.sources import HEARTBEAT
from rules.entry import Entry, EntryKind
from rules.journal import Journal
from rules.review import Known, Review, Spell, Window, histories, review, unrecorded
from rules.review.as_json import to_json
from rules.review.tables import (
    Table,
    as_text,
    counts_table,
    figures_table,
    floods_table,
    frequent_table,
    proposals_table,
    side_by_side,
    sources,
)
from rules.review.telling import ABOUT_PROPOSALS, proposals_in_words
from rules.table import RULES
from rules.table.settings import values_of

_SILENT_NS = 60 * NS


@click.command("review", help="Show how many alarms came, beside the published figures, and what to change.")
@click.argument("line", type=click.Path(path_type=Path))
@click.option("--from", "start", help="First time (ISO 8601; the line's zone unless it says one).")
@click.option("--to", "end", help="Time before which it ends; now when left out.")
@click.option("--trial", help="The window of a trial, by its name.")
@click.option("--last", help="The last hours or days until now, such as 8h or 30d.")
@click.option("--json", "as_json", is_flag=True, help="Machine output.")
@click.option("--excel", type=click.Path(path_type=Path), help="Write it as an Excel workbook as well.")
def command(
    line: Path,
    start: str | None,
    end: str | None,
    trial: str | None,
    last: str | None,
    as_json: bool,
    excel: Path | None,
) -> int:
    """Print the review; exit with 1 where a figure is above the published maximum."""
    config = load(line)
    zone = ZoneInfo(config.file.line.zone)
    asked = _window(config, zone, start, end, trial, last)
    made = review_of(config, asked)
    if as_json:
        about = {"line": config.facts.name, "asked": {"start_ns": asked.start_ns, "end_ns": asked.end_ns}}
        click.echo(json.dumps(about | to_json(made), ensure_ascii=False))
    else:
        for row in _lines(made, config, zone):
            click.echo(row)
    if excel is not None:
        write_workbook(excel, _sheets(made, config))
        click.echo(f"{excel}: the review as a workbook", err=True)
    return FOUND if made.is_above else 0


def review_of(config: LineConfig, asked: Window) -> Review:
    """The review of that part of the window of which the journal tells.

    Raises:
        WrongInput: there is no journal yet, or it tells nothing of the window.
    """
    if not config.journal.exists():
        raise WrongInput(f"{config.journal}: there is no journal here yet; start `meltledger run` first")
    with closing(Journal.open(config.journal, mode="read")) as journal:
        entries = journal.entries(None, asked.end_ns, (EntryKind.TRANSITION, EntryKind.MACHINE))
        gaps = unrecorded(journal.entries(asked.start_ns, None, (EntryKind.FINDING,)))
        first = journal.entries_after(0, 1)
    with store_or_none_yet(config) as store:
        begin_ns = min([*_begin_ns(entries, first), *_first_beat_ns(store, asked)], default=asked.end_ns)
        window = Window(max(asked.start_ns, begin_ns), asked.end_ns)
        if begin_ns >= asked.end_ns:
            raise WrongInput(
                f"{config.journal} tells nothing of that window; give one after the line first ran"
            )
        known = Known(RULES, _numbers(config), store.tags(), _Reader(store))
        gaps += _silence(store, window)
        zone = ZoneInfo(config.file.line.zone)
        return review(histories(entries), window, zone, gaps=gaps, known=known)


@dataclass(frozen=True, slots=True)
class _Reader:
    """Gives the samples of a store, of the tags that it has."""

    store: Store

    def __call__(self, paths: Sequence[str], start_ns: int, end_ns: int) -> Mapping[str, Series]:
        return self.store.read(paths, start_ns, end_ns)


def _begin_ns(entries: Sequence[Entry], first: Sequence[tuple[int, Entry]]) -> list[int]:
    """When the journal begins to tell: with its first word, or earlier with an imported list."""
    return [*(e.time_ns for e in entries[:1]), *(e.time_ns for _, e in first)]


def _first_beat_ns(store: Store, asked: Window) -> list[int]:
    """The recorder's first heartbeat in the window: a line that gives no cause has nothing in its journal."""
    if HEARTBEAT not in store.tags():
        return []
    for block in store.blocks([HEARTBEAT], asked.start_ns, asked.end_ns, samples=1000):
        times = block[HEARTBEAT].time_ns
        if len(times):
            return [int(times[0])]
    return []


def _silence(store: Store, window: Window) -> list[Spell]:
    """The end of the window, where the recorder's heartbeat ended before it: no finding tells of that yet."""
    if HEARTBEAT not in store.tags():
        return []
    beat = store.latest([HEARTBEAT]).get(HEARTBEAT)
    if beat is None or window.end_ns - beat.time_ns < _SILENT_NS:
        return []
    return [Spell(beat.time_ns, window.end_ns)]


def _numbers(config: LineConfig) -> dict[str, Mapping[str, float]]:
    return {rule: values_of(config.facts, rule).numbers for rule in RULES}


def _window(
    config: LineConfig,
    zone: ZoneInfo,
    start: str | None,
    end: str | None,
    trial: str | None,
    last: str | None,
) -> Window:
    """What is asked for; it ends now at the latest.

    Raises:
        WrongInput: not exactly one of --from, --trial and --last is given, or the window is empty.
    """
    now_ns = time.time_ns()
    if sum(one is not None for one in (start, trial, last)) != 1 or (end is not None and start is None):
        raise WrongInput("give one of --from (and --to), --trial and --last: they say which window to review")
    if trial is not None:
        start_ns, end_ns = trial_window_ns(config.trials, trial, zone, now_ns)
    elif last is not None:
        start_ns, end_ns = now_ns - length_ns_of(last), now_ns
    else:
        start_ns = time_ns_of(start or "", zone)
        end_ns = now_ns if end is None else time_ns_of(end, zone)
    end_ns = min(end_ns, now_ns)
    if start_ns >= end_ns:
        raise WrongInput(
            f"the window from {shown(start_ns, zone)} to {shown(end_ns, zone)} is empty; it must begin "
            "before it ends, and before now"
        )
    return Window(start_ns, end_ns)


def _lines(made: Review, config: LineConfig, zone: ZoneInfo) -> list[str]:
    def show(moment: datetime) -> str:
        return f"{moment.astimezone(zone):%Y-%m-%d %H:%M:%S %Z}"

    begin, end = shown(made.window.start_ns, zone), shown(made.window.end_ns, zone)
    said = [f"Alarm review of {config.facts.name}, {begin} to {end}", ""]
    said += [f"  {warning}" for warning in made.warnings]
    parts = [
        ("Beside the published figures", side_by_side(made)),
        ("Counts and times", counts_table(made)),
        ("Most frequent alarms", frequent_table(made)),
        ("Floods", floods_table(made)),
    ]
    for heading, table in parts:
        said += ["", heading, *(f"  {row}" for row in as_text(table, show))]
        if not table.rows:
            said.append("  none")
        if table is parts[0][1]:
            said += ["", *(f"  {row}" for row in sources(made))]
    words = [*proposals_in_words(made.proposals), "", ABOUT_PROPOSALS]
    return [*said, "", "What to change", *(f"  {row}".rstrip() for row in words)]


def _sheets(made: Review, config: LineConfig) -> dict[str, Sheet]:
    def sheet(table: Table) -> Sheet:
        return Sheet(table.columns, table.rows)

    zone = ZoneInfo("UTC")
    about = [["line", config.facts.name], ["from", shown(made.window.start_ns, zone)]]
    about += [["to", shown(made.window.end_ns, zone)]]
    about += [["to know", warning] for warning in (*made.warnings, ABOUT_PROPOSALS)]
    return {
        "figures": sheet(figures_table(made)),
        "counts": sheet(counts_table(made)),
        "most frequent": sheet(frequent_table(made)),
        "floods": sheet(floods_table(made)),
        "what to change": sheet(proposals_table(made)),
        "about": Sheet(["what", "is"], about),
    }
