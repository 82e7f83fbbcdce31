"""Brings a panel's list of alarms into a line's journal, or says what would be brought."""

from __future__ import annotations

import json
import re
import time
from collections.abc import Sequence
from contextlib import closing
from dataclasses import asdict
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import click

from historian.errors import StoreReadOnly, WrongInput
from historian.exchange import in_zone, layout_of
from meltledger.alarmlist import load_list_mapping, mapping_text
from meltledger.cli import FOUND
from meltledger.config import LineConfig
from rules.entry import Entry
from rules.imported import AlarmList, AlarmListForm, entries_of, form_of, read_alarm_list
from rules.journal import Journal

_LISTED = 20


def bring_alarms(
    config: LineConfig,
    path: Path,
    origin: str,
    mapping: Path | None,
    guess: Path | None,
    rejects: Path | None,
    dry_run: bool,
    as_json: bool,
) -> int:
    """Print what was or would be stored; 1 when a line did not fit.

    Raises:
        WrongInput: naming the file and what to do.
    """
    if rejects is not None:
        raise WrongInput("--rejects is for samples; lines of a list that do not fit are printed")
    _check_origin(config, origin)
    given = load_list_mapping(mapping)
    form = form_of(path, layout_of(path, given.separator or ""), given.given())
    zone = given.zone or config.file.line.zone
    if guess is not None:
        return _propose(guess, mapping_text(form, zone, path.name), form)
    found = read_alarm_list(path, form, zone=zone, now_ns=time.time_ns())
    entries = entries_of(found.happenings, origin=origin, file=path.name)
    new = _new_in(config.journal, entries) if dry_run else _keep(config.journal, entries)
    _tell(path, form, zone, found, entries, new, dry_run=dry_run, as_json=as_json)
    return FOUND if found.refused else 0


def _check_origin(config: LineConfig, origin: str) -> None:
    if not re.fullmatch(r"[a-z0-9][a-z0-9-]{0,62}", origin):
        raise WrongInput(f"--origin '{origin[:70]}': write a short name in lower case, digits and hyphens")
    if origin in {s.name for s in config.file.source} | {"edge", "rules"}:
        raise WrongInput(
            f"--origin '{origin}' tells of itself already, and what it says live would be mixed with the "
            "list; give the list a name of its own, such as panel"
        )
    if config.simulated:
        raise WrongInput(
            f"{config.path}: the line is simulated, and a panel's list is not: the two are never mixed. "
            "Import into a line with a folder of its own"
        )


def _propose(out: Path, text: str, form: AlarmListForm) -> int:
    if str(out) == "-":
        click.echo(text, nl=False)
        return 0
    try:
        with out.open("x", encoding="utf-8") as written:
            written.write(text)
    except FileExistsError as error:
        raise WrongInput(f"{out}: is there already and may hold what was confirmed; name another") from error
    except OSError as error:
        raise StoreReadOnly(f"{out}: cannot be written ({error}); name another file") from error
    for doubt in form.doubts:
        click.echo(f"confirm: {doubt}")
    click.echo(f"{out}: a proposal. Mend what is to be confirmed, then try it: --mapping {out} --dry-run")
    return 0


def _new_in(journal: Path, entries: Sequence[Entry]) -> int:
    if not journal.exists():
        return len(entries)
    with closing(Journal.open(journal, mode="read")) as opened:
        return len(entries) - len(opened.known([e.key for e in entries]))


def _keep(journal: Path, entries: Sequence[Entry]) -> int:
    if not entries:
        return 0
    with closing(Journal.open(journal)) as opened:
        return opened.append(entries)


def _tell(
    path: Path,
    form: AlarmListForm,
    zone: str,
    found: AlarmList,
    entries: Sequence[Entry],
    new: int,
    *,
    dry_run: bool,
    as_json: bool,
) -> None:
    columns = {part: form.heading(place) for part, place in form.places.items()}
    times = [form.heading(k) for k in form.time]
    if as_json:
        report: dict[str, Any] = {"file": str(path), "zone": zone, "rows": found.rows, "new": new}
        report |= {"entries": len(entries), "stored_already": len(entries) - new, "dry_run": dry_run}
        report |= {"time": times, "columns": columns, "doubts": list(form.doubts)}
        report |= {"doubtful": found.doubtful, "refused": [asdict(r) for r in found.refused]}
        click.echo(json.dumps(report, ensure_ascii=False))
        return
    said = ", ".join(f"{part} = {heading}" for part, heading in columns.items())
    click.echo(f"{path}: time = {' and '.join(map(str, times))} ({form.format}, {zone}); {said}")
    for doubt in form.doubts:
        click.echo(f"confirm: {doubt}")
    if found.happenings:
        first, last = (
            in_zone(h.time_ns, ZoneInfo(zone)) for h in (found.happenings[0], found.happenings[-1])
        )
        click.echo(f"{path}: {first} to {last}")
    if found.doubtful:
        click.echo(f"{path}: {found.doubtful} in the hour that passes twice; which pass is not certain")
    for refused in found.refused[:_LISTED]:
        click.echo(f"{path}:{refused.line}: {refused.reason}")
    if len(found.refused) > _LISTED:
        click.echo(f"{path}: and {len(found.refused) - _LISTED} further lines that do not fit")
    would = "would be new" if dry_run else "new"
    click.echo(
        f"{path}: {found.rows} lines tell of {len(entries)} changes: {new} {would}, "
        f"{len(entries) - new} stored already"
    )
    if dry_run:
        click.echo("dry run: nothing was stored")
