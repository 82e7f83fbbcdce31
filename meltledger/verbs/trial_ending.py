"""``meltledger trial package`` and ``forget``: a trial's data for its customer, and its end."""

from __future__ import annotations

import time
from pathlib import Path

import click

from historian.errors import WrongInput
from meltledger.customers import read_customers
from meltledger.forgetting import end_what_was_stopped, forget, proof_of, proof_path
from meltledger.packing import pack
from meltledger.recordedline import RecordedLine, recorded_line
from meltledger.verbs.trial_entry import BY, FILE, who
from meltledger.windows import shown
from trials.customers.forgetting import NOT_REACHED, check_may_go
from trials.record import Trial

_PATH = click.Path(path_type=Path)


@click.command("package", help="Write the data of a closed trial into one zip for its customer.")
@FILE
@click.argument("name")
@click.option("--to", "out", type=_PATH, default=Path(), help="Folder; this one when left out.")
@click.option("--report", "reports", type=_PATH, multiple=True, help="A report of it; may be given twice.")
def package(file: Path, name: str, out: Path, reports: tuple[Path, ...]) -> int:
    """Record, samples, seal, photographs, reports, check sums: of this trial alone."""
    with recorded_line(file) as line:
        path = pack(line, line.trial(name), out, reports)
    click.echo(f"{path}: {path.stat().st_size / 1e6:.1f} MB")
    return 0


@click.command("forget", help="Delete a trial when its time is over: record, photographs, samples.")
@FILE
@click.argument("name")
@click.option("--why", default="", help="The reason to do so before its time.")
@BY
@click.option("--yes", is_flag=True, help="Do it; without this it is only said what would go.")
def forget_(file: Path, name: str, why: str, by: str, yes: bool) -> int:
    """Say what goes; with --yes delete it, and keep the proof."""
    now_ns = time.time_ns()
    with recorded_line(file) as line:
        end_what_was_stopped(line)
        trial = line.trial(name)
        until_ns = _kept_until_ns(line, trial)
        until = "" if until_ns is None else shown(until_ns, line.zone)
        check_may_go(trial, until_ns, now_ns, why, until)
        proof = proof_of(line, trial, by=who(by), why=why.strip() or f"kept until {until}", now_ns=now_ns)
        if proof.done:
            raise WrongInput(f"trial '{name}' was deleted; the proof is {proof_path(line, trial)}")
        samples = sum(n for n, _ in proof.tags.values())
        for a, b in proof.windows:
            click.echo(f"samples from {shown(a, line.zone)} to {shown(b, line.zone)}")
        what = f"{samples} samples, {len(proof.photos)} photographs, {proof.entries} entries"
        if not yes:
            click.echo(f"This would delete {what}. Nothing was deleted; to do it: --yes")
            return 0
        forget(line, trial, proof, now_ns)
        click.echo(f"deleted: {what}. Proof: {proof_path(line, trial)}")
    click.echo(NOT_REACHED)
    return 0


def _kept_until_ns(line: RecordedLine, trial: Trial) -> int | None:
    customer = (read_customers(line.config) or {}).get(trial.code_name)
    return None if customer is None or trial.end_ns is None else customer.kept_until_ns(trial.end_ns)
