"""Which window a verb looks at: from and to, a trial's, or the last hours; in the site's zone."""

from __future__ import annotations

import difflib
import re
from collections.abc import Sequence
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

from historian.errors import WrongInput
from historian.frame import NS
from historian.units import quantity
from trials.record import Trial, TrialRecord

_1970: Final = datetime(1970, 1, 1, tzinfo=UTC)
_LENGTH: Final = re.compile(r"\s*([0-9.]+)\s*([a-z]+)\s*")


def time_ns_of(text: str, zone: ZoneInfo) -> int:
    """A time that somebody wrote, UTC nanoseconds; the zone's unless it says its offset.

    Raises:
        WrongInput: it is no time.
    """
    try:
        moment = datetime.fromisoformat(text)
    except ValueError as error:
        raise WrongInput(f"'{text}' is no time; such as 2026-11-25T08:00") from error
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=zone)
    return (moment - _1970) // timedelta(microseconds=1) * 1000


def length_ns_of(text: str) -> int:
    """A length of time that somebody wrote, nanoseconds.

    Raises:
        WrongInput: it is none, or not above zero.

    Example:
        >>> length_ns_of("8h") == length_ns_of("480 min") == 28_800 * NS
        True
    """
    parts = _LENGTH.fullmatch(text)
    if parts is None:
        raise WrongInput(f"'{text}' is no length of time; such as 8h, 30d or 90min")
    length = round(quantity(f"{parts[1]} {parts[2]}", "s") * NS)
    if length <= 0:
        raise WrongInput(f"'{text}' is no length of time above zero; such as 8h")
    return length


def trial_window_ns(path: Path, name: str, zone: ZoneInfo, now_ns: int) -> tuple[int, int]:
    """The window of the trial of that name; one that is under way goes on until now.

    Args:
        path: the trial record.

    Raises:
        WrongInput: there is none, or several.
    """
    trials: list[Trial] = []
    if path.exists():
        with closing(TrialRecord.open(path)) as record:
            trials = record.trials()
    named = trials_named(trials, name)
    if len(named) > 1:
        starts = ", ".join(shown(t.start_ns, zone) for t in named)
        raise WrongInput(f"{len(named)} trials are named '{name}' (from {starts}): give --from and --to")
    end_ns = named[0].end_ns
    return named[0].start_ns, now_ns if end_ns is None else end_ns


def trials_named(trials: Sequence[Trial], name: str) -> list[Trial]:
    """The trials of that name, in the order given.

    Raises:
        WrongInput: there is none; the message has the nearest names.
    """
    named = [t for t in trials if t.name == name]
    if not named:
        near = difflib.get_close_matches(name, [t.name for t in trials], n=3, cutoff=0.3)
        hint = f"the nearest: {', '.join(near)}" if near else "`meltledger trial list` names them"
        raise WrongInput(f"no trial is named '{name}'; {hint}")
    return named


def shown(time_ns: int, zone: ZoneInfo) -> str:
    """A time as a person reads it, with its offset."""
    return datetime.fromtimestamp(time_ns // NS, zone).isoformat(sep=" ", timespec="seconds")
