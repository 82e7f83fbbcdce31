"""``meltledger trial phases``, ``set-phase`` and ``settings``: the course, and what people say of it."""

from __future__ import annotations

import time
from pathlib import Path

import click

from historian.errors import WrongInput
from meltledger.evaluating import evaluate
from meltledger.recordedline import recorded_line
from meltledger.verbs.trial_entry import BY, FILE, TRIAL, who
from meltledger.windows import shown, time_ns_of
from process.phase_names import DWELL_S
from trials.phases import as_form, with_phase
from trials.record import What


@click.command("phases", help="Show the phases of a trial, why each began, and how sure that is.")
@FILE
@TRIAL
def phases(file: Path, name: str | None) -> int:
    """One line a phase; what would be found otherwise now comes after them."""
    with recorded_line(file) as line:
        outcome = evaluate(line.config, line.record, line.trial(name), time.time_ns())
    for kept in outcome.phases:
        one = kept.phase
        sure = "set by hand" if kept.by_hand else f"{100 * one.confidence:.0f} % of it shows the signs"
        click.echo(f"{shown(one.start_ns, line.zone)}  {one.name}: {one.reason} ({sure})")
    for one in outcome.found_otherwise:
        span = f"{shown(one.start_ns, line.zone)} to {shown(one.end_ns, line.zone)}"
        click.echo(f"Found otherwise now, but left as it was cut by hand: {one.name}, {span}.")
    return 0


@click.command("set-phase", help="Set which phase a stretch of time is; from then on nothing cuts it again.")
@FILE
@click.argument("phase", type=click.Choice(list(DWELL_S)))
@click.option("--from", "from_", required=True, help="Its beginning (ISO 8601; the line's zone).")
@click.option("--to", "to", required=True, help="Its end.")
@click.option("--why", required=True, help="The reason.")
@BY
@TRIAL
def set_phase(file: Path, phase: str, from_: str, to: str, why: str, by: str, name: str | None) -> int:
    """Keep the phases with this one in the record; the ones before stay there too."""
    with recorded_line(file) as line:
        trial = line.trial(name)
        outcome = evaluate(line.config, line.record, trial, time.time_ns())
        start_ns, end_ns = (time_ns_of(text, line.zone) for text in (from_, to))
        try:
            kept = with_phase(outcome.phases, phase, start_ns, end_ns, why)
        except WrongInput as error:
            bounds = f"{shown(trial.start_ns, line.zone)} to {shown(outcome.end_ns, line.zone)}"
            raise WrongInput(f"{error}; the trial goes from {bounds}") from error
        entry = line.record.write(trial.id, What.PHASES, as_form(kept, why), time_ns=start_ns, by=who(by))
    click.echo(f"entry {entry.id}: {phase} from {shown(start_ns, line.zone)} to {shown(end_ns, line.zone)}")
    return 0


@click.command("settings", help="Show every change of a setting, with what was written of it.")
@FILE
@TRIAL
def settings(file: Path, name: str | None) -> int:
    """One line a change; ``trial fill`` with [[setting]] writes why."""
    with recorded_line(file) as line:
        outcome = evaluate(line.config, line.record, line.trial(name), time.time_ns())
    for one in outcome.settings:
        how = "" if one.found else " (by hand, no tag)"
        told = f": {one.why} ({one.by})" if one.why else ": nobody has written why"
        from_to = f" {one.before} to {one.after}" if one.before or one.after else ""
        click.echo(f"{shown(one.time_ns, line.zone)}  {one.what}{from_to}{how}{told}")
    return 0
