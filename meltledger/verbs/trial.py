"""``meltledger trial``: a trial from its opening to its seal, and all that people write down of it."""

from __future__ import annotations

import json
import time
import tomllib
from pathlib import Path
from typing import Any, Final

import click

from historian.errors import WrongInput
from meltledger.cli import FOUND, Verbs
from meltledger.customers import coded
from meltledger.recordedline import recorded_line
from meltledger.sealing import seal_holds, seal_trial
from meltledger.stores import store_or_none_yet
from meltledger.verbs.trial_entry import AT, BY, FILE, INSTEAD, TRIAL, who, write
from meltledger.windows import shown, time_ns_of
from trials.record import What, book_of
from trials.record.filled import filled_forms, is_there
from trials.record.travel import to_json
from trials.record.words import sentence_of

_LATE: Final = {
    "check": ("meltledger.verbs.trial_judging", "Hold the material against the line, before the trial."),
    "phases": ("meltledger.verbs.trial_course", "Show the phases, why each began, how sure that is."),
    "set-phase": ("meltledger.verbs.trial_course", "Set which phase a stretch of time is."),
    "settings": ("meltledger.verbs.trial_course", "Show every change of a setting."),
    "figures": ("meltledger.verbs.trial_figures", "Show the figures of a trial's operating points."),
    "enough": ("meltledger.verbs.trial_figures", "Say what a valid result still needs."),
    "compare": ("meltledger.verbs.trial_judging", "Set trials, points, phases or screens side by side."),
    "scale-up": ("meltledger.verbs.trial_judging", "Say what a production line needs, by this trial."),
    "paper": ("meltledger.verbs.trial_paper", "Write run sheet and labels, to be printed."),
    "bag": ("meltledger.verbs.trial_paper", "Write down that a bag is full."),
    "weigh": ("meltledger.verbs.trial_paper", "Write down a bucket of what was discharged."),
    "screen": ("meltledger.verbs.trial_paper", "Write down which screen was mounted."),
    "suspect": ("meltledger.verbs.trial_paper", "List the bags that may hold pellets of a time."),
    "package": ("meltledger.verbs.trial_ending", "Write a closed trial's data into one zip."),
    "forget": ("meltledger.verbs.trial_ending", "Delete a trial when its time is over."),
}


@click.group("trial", cls=Verbs, late=_LATE, help="Open and close trials, write down, see what came out.")
def command() -> None:
    """The verbs of a trial."""


@command.command("new", help="Open a trial on the line; the one under way must be closed first.")
@FILE
@click.argument("name")
@click.option("--customer", default="", help="Whose material it is.")
@click.option("--code-name", default="", help="What walls and mails call the customer.")
def new(file: Path, name: str, customer: str, code_name: str) -> int:
    """Open a trial now."""
    with recorded_line(file) as line:
        under_way = line.record.under_way()
        if under_way is not None:
            raise WrongInput(
                f"trial '{under_way.name}' is under way; close it first: meltledger trial close {file}"
            )
        customer, code_name = coded(line.config, customer, code_name)
        line.record.open_trial(name, customer=customer, code_name=code_name, start_ns=time.time_ns(), plan={})
    click.echo(f"trial '{name}' is under way")
    return 0


@command.command("close", help="Close the trial under way, and seal it.")
@FILE
@BY
def close(file: Path, by: str) -> int:
    """Close the trial now; what comes later is an addendum."""
    with recorded_line(file) as line:
        trial = line.record.close_trial(line.trial(None).id, time.time_ns(), who(by))
        with store_or_none_yet(line.config) as store:
            seal = seal_trial(line.record, store, trial, by=who(by))
    count = sum(t.samples for t in seal.tags.values())
    click.echo(f"trial '{trial.name}' is closed and sealed: {count} samples, seal {seal.sha256}")
    return 0


@command.command("verify", help="Look whether a closed trial is still as it was sealed; 1 when it is not.")
@FILE
@click.argument("name")
def verify(file: Path, name: str) -> int:
    """Compute the hashes again."""
    with recorded_line(file) as line, store_or_none_yet(line.config) as store:
        seal, told = seal_holds(line.record, store, line.trial(name))
    click.echo(f"seal {seal.sha256}")
    for one in told:
        click.echo(one)
    click.echo("Not all is as it was sealed." if told else "Record and samples are as they were sealed.")
    return FOUND if told else 0


@command.command("note", help="Write words down.")
@FILE
@click.argument("text")
@TRIAL
@AT
@BY
@INSTEAD
def note(file: Path, text: str, name: str | None, at: str | None, by: str, instead_of: int | None) -> int:
    """Add a note."""
    return write(file, name, What.NOTE, {"text": text}, at, by, instead_of)


@command.command("sample", help="Write down that a sample was taken.")
@FILE
@click.argument("sample")
@click.option("--of", "of", default="pellets", help="What it was taken of: feed, pellets or discharge.")
@click.option("--bag", help="Of which bag.")
@click.option("--place", help="Where it was taken.")
@TRIAL
@AT
@BY
@INSTEAD
def sample(
    file: Path,
    sample: str,
    of: str,
    bag: str | None,
    place: str | None,
    name: str | None,
    at: str | None,
    by: str,
    instead_of: int | None,
) -> int:
    """Add a sample."""
    data = {"name": sample, "of": of, **_told(bag=bag, place=place)}
    return write(file, name, What.SAMPLE, data, at, by, instead_of)


@command.command("lab", help='Write down a laboratory\'s result, such as: lab FILE P7 moisture "0.05 %".')
@FILE
@click.argument("sample")
@click.argument("what")
@click.argument("value")
@click.option("--of", "of", default="pellets", help="What the sample was taken of.")
@click.option("--method", help="Method or standard, temperature, time.")
@click.option("--temperature", help='Of a melt flow rate, such as "190 Cel".')
@click.option("--load", "load_", help='Of a melt flow rate, such as "2.16 kg".')
@click.option("--replicate", type=int, default=1, help="Which of several measurements of the same.")
@TRIAL
@AT
@BY
@INSTEAD
def lab(
    file: Path,
    sample: str,
    what: str,
    value: str,
    of: str,
    method: str | None,
    temperature: str | None,
    load_: str | None,
    replicate: int,
    name: str | None,
    at: str | None,
    by: str,
    instead_of: int | None,
) -> int:
    """Add a result; it may come long after the trial was closed."""
    data = {"sample": sample, "what": what, "value": value, "of": of, "replicate": replicate}
    data |= _told(method=method, temperature=temperature, load=load_)
    return write(file, name, What.RESULT, data, at, by, instead_of)


@command.command("fill", help="Take the forms of a TOML or JSON file into the record.")
@FILE
@click.argument("forms", type=click.Path(path_type=Path))
@TRIAL
@BY
def fill(file: Path, forms: Path, name: str | None, by: str) -> int:
    """All of it or nothing; what the record says already is passed over."""
    with recorded_line(file) as line:
        trial = line.trial(name)
        filled = filled_forms(_read(forms), lambda text: time_ns_of(text, line.zone), forms.name)
        standing = list(book_of(line.record.entries(trial.id)).standing)
        wanted = [f for f in filled if not is_there(f, standing)]
        now_ns = time.time_ns()
        for form in wanted:
            time_ns = now_ns if form.time_ns is None else form.time_ns
            line.record.write(trial.id, form.what, form.data, time_ns=time_ns, by=who(by))
    known = len(filled) - len(wanted)
    click.echo(f"{len(wanted)} written down" + (f", {known} known already" if known else ""))
    return 0


@command.command("photo", help="Keep a photograph, without where it was taken.")
@FILE
@click.argument("picture", type=click.Path(path_type=Path))
@click.option("--of", "of", required=True, help="What is to be seen: material, sample, screen or finding.")
@TRIAL
@AT
@BY
def photo(file: Path, picture: Path, of: str, name: str | None, at: str | None, by: str) -> int:
    """Add a photograph."""
    try:
        from trials.photos import keep_photo
    except ImportError as error:
        raise WrongInput("photographs need Pillow: pip install 'meltledger[report]'") from error
    try:
        body = picture.read_bytes()
    except OSError as error:
        raise WrongInput(f"{picture}: cannot be read ({error.strerror})") from error
    with recorded_line(file) as line:
        line.trial(name)
        sha256 = keep_photo(line.config.trials.parent / "photos", body, picture.name)
    return write(file, name, What.PHOTO, {"sha256": sha256, "name": picture.name, "of": of}, at, by, None)


@command.command("take-back", help="Take an entry back; it stays in the record, with the reason.")
@FILE
@click.argument("entry", type=int)
@click.option("--why", required=True, help="The reason.")
@BY
def take_back(file: Path, entry: int, why: str, by: str) -> int:
    """Withdraw an entry."""
    with recorded_line(file) as line:
        line.record.withdraw(entry, by=who(by), why=why)
    click.echo(f"entry {entry} is taken back")
    return 0


@command.command("show", help="Show what the record of a trial says.")
@FILE
@TRIAL
@click.option("--all", "every", is_flag=True, help="Also what was corrected or taken back.")
@click.option("--json", "as_json", is_flag=True, help="The whole record, as it travels with the data.")
def show(file: Path, name: str | None, every: bool, as_json: bool) -> int:
    """One line an entry: its number, when it was so, who wrote it."""
    with recorded_line(file) as line:
        trial = line.trial(name)
        entries = line.record.entries(trial.id)
    if as_json:
        click.echo(json.dumps(to_json(trial, entries), ensure_ascii=False, indent=1))
        return 0
    book = book_of(entries)
    end = "under way" if trial.end_ns is None else f"to {shown(trial.end_ns, line.zone)}"
    click.echo(f"{trial.name}: from {shown(trial.start_ns, line.zone)} {end}")
    for entry in book.standing:
        late = ", addendum" if entry.addendum else ""
        words = sentence_of(entry)
        click.echo(f"{entry.id:5} {shown(entry.time_ns, line.zone)} {entry.by}{late}: {words}")
        for old in book.corrected.get(entry.id, ()) if every else ():
            click.echo(f"      in place of {old.id}, {old.by}: {sentence_of(old)}")
    for entry, why in book.withdrawn if every else ():
        click.echo(f"{entry.id:5} taken back ({why}): {sentence_of(entry)}")
    return 0


@command.command("list", help="List the line's trials.")
@FILE
def list_(file: Path) -> int:
    """One line a trial, newest last."""
    with recorded_line(file) as line:
        for trial in line.record.trials():
            until = f"to {shown(trial.end_ns, line.zone)}" if trial.end_ns is not None else "under way"
            click.echo(f"{trial.name}: from {shown(trial.start_ns, line.zone)} {until}")
    return 0


def _told(**keys: str | None) -> dict[str, str]:
    return {key: value for key, value in keys.items() if value is not None}


def _read(path: Path) -> dict[str, Any]:
    try:
        text = path.read_text(encoding="utf-8")
        read: Any = json.loads(text) if path.suffix == ".json" else tomllib.loads(text)
    except FileNotFoundError as error:
        raise WrongInput(f"{path}: there is no such file") from error
    except (OSError, ValueError) as error:
        raise WrongInput(f"{path}: cannot be read: {error}") from error
    if not isinstance(read, dict):
        raise WrongInput(f"{path}: holds no forms")
    return read
