"""``meltledger digest``: the maintenance digest of a shift or a day, and what was done about it."""

from __future__ import annotations

import difflib
import json
import time
from collections.abc import Sequence
from contextlib import closing
from datetime import date
from pathlib import Path
from zoneinfo import ZoneInfo

import click

from historian.errors import StoreReadOnly, WrongInput
from meltledger.cli import OUTSIDE
from meltledger.config import LineConfig, load
from meltledger.digesting import Made, make_digest, parts_of_line
from meltledger.posting import carriers_of, in_doubt_words, letters_of, outbox_path, told_words
from meltledger.windows import shown, time_ns_of
from rules.digest import (
    DAY,
    Period,
    as_html,
    as_json,
    as_text,
    day_of,
    shift_from,
    start_of,
    within,
)
from rules.digest.delivery import DOUBT_NS, doubts, empty
from rules.digest.folder import write_whole
from rules.digest.outbox import Outbox, Post, State
from rules.digest.places import place_of
from rules.entry import Act, ActKind
from rules.journal import Journal

ROLE = "maintenance"

_FILE = click.argument("line", type=click.Path(path_type=Path))


class _ShowOr(click.Group):
    """A group of which ``show`` is meant where no other verb of it is named."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        if args and args[0] not in (*self.commands, "-h", "--help"):
            args = ["show", *args]
        return super().parse_args(ctx, args)


@click.group(
    "digest",
    cls=_ShowOr,
    help="Show, write or send the maintenance digest of a shift or a day; say what was done. "
    "`digest LINE …` is `digest show LINE …`.",
)
def command() -> None:
    """The verbs of a digest."""


@command.command("show", help="Show, write or send the digest of a shift or a day.")
@_FILE
@click.option("--shift", help="The shift that begins then (ISO 8601; the line's zone unless it says one).")
@click.option("--day", help="The site's calendar day, such as 2026-11-25.")
@click.option("--to", type=click.Path(path_type=Path), help="Write it to a file: .html, .txt or .json.")
@click.option(
    "--send", is_flag=True, help="Send it as the line's file says; what was sent is not sent twice."
)
@click.option("--again", is_flag=True, help="With --send: also what was refused or may have arrived.")
@click.option("--json", "as_json_", is_flag=True, help="Machine output.")
def show(
    line: Path, shift: str | None, day: str | None, to: Path | None, send: bool, again: bool, as_json_: bool
) -> int:
    """Print the digest, or do with it what is asked for."""
    config, now_ns = load(line), time.time_ns()
    period = _period(config, shift, day)
    _check_asked(config, period, to, now_ns, send=send, again=again)
    made = make_digest(
        config,
        period,
        in_doubt=_in_doubt(config, period),
        now_ns=now_ns,
        drawn=send or (to is not None and to.suffix == ".html"),
    )
    if to is not None:
        _write(to, made)
    if as_json_:
        click.echo(json.dumps(as_json(made.digest), ensure_ascii=False))
    elif to is None and not send:
        click.echo(as_text(made.digest), nl=False)
    return _send(config, made, again=again) if send else 0


@command.command("done", help="Say that a part was repaired: it leaves the list until it is found again.")
@_FILE
@click.argument("part")
@click.option("--by", required=True, help="Who did it.")
@click.option("--note", required=True, help="What was done, in a few words.")
def done(line: Path, part: str, by: str, note: str) -> int:
    """Keep the repair in the journal."""
    config = load(line)
    if not config.journal.exists():
        raise WrongInput(f"{config.journal}: there is no journal here yet; start `meltledger run` first")
    with closing(Journal.open(config.journal)) as journal:
        path = _part(part, parts_of_line(config, journal))
        act = Act(0, time.time_ns(), by.strip(), ROLE, ActKind.REPAIRED, subject=path, text=note.strip())
        journal.record_act(act)
    click.echo(
        f"{place_of(path)} ({path}): noted as done by {by.strip()}; it comes back if it is found again"
    )
    return 0


def _period(config: LineConfig, shift: str | None, day: str | None) -> Period:
    zone = ZoneInfo(config.file.line.zone)
    if (shift is None) == (day is None):
        raise WrongInput("give one of --shift and --day: they say which digest")
    if day is not None:
        try:
            return day_of(date.fromisoformat(day), zone)
        except (ValueError, OverflowError) as error:
            raise WrongInput(f"'{day}' is no day; such as 2026-11-25") from error
    starts = config.file.digest.shifts if config.file.digest is not None else ()
    return shift_from([start_of(s) for s in starts], zone, time_ns_of(shift or "", zone))


def _check_asked(
    config: LineConfig, period: Period, to: Path | None, now_ns: int, *, send: bool, again: bool
) -> None:
    """Refuse early, before anything is drawn.

    Raises:
        WrongInput: with the remedy.
    """
    if again and not send:
        raise WrongInput("--again belongs to --send; add it, or take --again out")
    if to is not None and to.suffix not in _WRITERS:
        raise WrongInput(f"{to}: a digest is written as {', '.join(_WRITERS)}; let the name end so")
    if send and config.file.digest is None:
        raise WrongInput(f"{config.path}: there is no [digest], so it is not said where it goes; add it")
    if send and period.end_ns > now_ns:
        what = "day" if period.kind == DAY else "shift"
        raise WrongInput(f"the {what} is not over yet; its digest is sent in whole, once: ask again after it")


def _in_doubt(config: LineConfig, period: Period) -> list[str]:
    if not outbox_path(config).exists():
        return []
    with closing(Outbox(outbox_path(config))) as outbox:
        # That of this very period is what is being looked at.
        others = [p for p in doubts(outbox, time.time_ns() - DOUBT_NS) if p.period != period.key]
    return in_doubt_words(others, ZoneInfo(config.file.line.zone))


def _html(made: Made) -> str:
    return as_html(made.digest, within(made.pictures))


def _text(made: Made) -> str:
    return as_text(made.digest)


def _json(made: Made) -> str:
    return json.dumps(as_json(made.digest), ensure_ascii=False, indent=1) + "\n"


_WRITERS = {".html": _html, ".txt": _text, ".json": _json}


def _write(to: Path, made: Made) -> None:
    try:
        write_whole(to, _WRITERS[to.suffix](made).encode())
    except OSError as error:
        raise StoreReadOnly(f"{to}: cannot be written ({error.strerror}); name another file") from error
    click.echo(f"{to}: the digest", err=True)


def _send(config: LineConfig, made: Made, *, again: bool) -> int:
    now_ns, zone = time.time_ns(), ZoneInfo(config.file.line.zone)
    key = made.digest.period.key
    with closing(Outbox(outbox_path(config))) as outbox:
        before = {p.recipient: p for p in outbox.of_period(key)}
        outbox.put(key, letters_of(config, made, now_ns), now_ns)
        if again:
            for post in before.values():
                if post.state in (State.HANDED_OVER, State.REFUSED):
                    outbox.again(post, now_ns)
        empty(outbox, carriers_of(config), time.time_ns)
        posts = outbox.of_period(key)
    for post in posts:
        was = before.get(post.recipient)
        known = was is not None and was.state is State.SENT
        click.echo(_told(post, zone, already=known), err=True)
    return _exit(posts)


def _told(post: Post, zone: ZoneInfo, *, already: bool) -> str:
    about, when = told_words(post), shown(post.changed_ns, zone)
    match post.state:
        case State.SENT:
            return f"{about}: {'was sent already' if already else 'sent'}, {when}"
        case State.WAITING:
            return f"{about}: waits on disk, {post.said or 'another process is sending'}"
        case State.REFUSED:
            return f"{about}: was refused, {post.said}; mend it, then --send --again"
        case State.HANDED_OVER:
            return (
                f"{about}: may have arrived ({post.said}); look for {post.name} there, and if it is not "
                "there, --send --again"
            )


def _exit(posts: Sequence[Post]) -> int:
    return 0 if all(p.state is State.SENT for p in posts) else OUTSIDE


def _part(told: str, known: Sequence[str]) -> str:
    """The path of a part that a person named, by its path or in words.

    Raises:
        WrongInput: the line has none of that name, or several; naming the nearest.
    """
    if told in known:
        return told
    named = [p for p in known if told.strip().lower() in (place_of(p), place_of(p).split(",")[0])]
    if len(named) == 1:
        return named[0]
    near = named or difflib.get_close_matches(told, known, n=3, cutoff=0.4)
    hint = f"the nearest: {', '.join(near)}" if near else f"known are {', '.join(known) or 'none yet'}"
    raise WrongInput(f"the line has no part '{told}'; {hint}")
