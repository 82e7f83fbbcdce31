"""What really went wrong in a trial, as the file beside it says."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from historian.errors import WrongInput
from historian.frame import NS
from rules.backtest.matching import BY_FAULT, rules_of


@dataclass(frozen=True, slots=True)
class Truth:
    """One thing that was wrong, or a stretch in which nothing was, however it looked.

    Attributes:
        id: its name within the trial.
        number: of its entry in the trade's list of faults, such as ``B16``; empty for a quiet stretch.
        onset_ns, end_ns: from when to when, UTC nanoseconds; the end is None where it lasted on.
        visible_ns: when it could first be seen in the signals; None: nobody could see it.
        within_s: how soon a finding is due after that; None: no sooner than a person marks it.
        tags: paths of the signals where it shows; none: anywhere.
        source: name of the source of samples that it is about; empty: none.
        placed: whether it is about one place or one sensor, so that a finding elsewhere is another matter.
        quiet: nothing of medium or high priority may be said in it.
        not_for: rules that name another fault for which this one must not be taken.
        text: what it was, for a person.
    """

    id: str
    number: str
    onset_ns: int
    end_ns: int | None
    visible_ns: int | None
    within_s: float | None = None
    tags: tuple[str, ...] = ()
    source: str = ""
    placed: bool = False
    quiet: bool = False
    not_for: frozenset[str] = frozenset()
    text: str = ""

    @property
    def due_ns(self) -> int | None:
        """When a finding was due; None where none was."""
        if self.visible_ns is None or self.within_s is None:
            return None
        return self.visible_ns + round(self.within_s * NS)


def read_truth(text: str, *, where: str) -> list[Truth]:
    """The entries of a truth file: a JSON list, as ``docs/backtest.md`` describes it.

    Args:
        where: the file, for messages.

    Raises:
        WrongInput: naming the file, the entry and the key.
    """
    try:
        listed = json.loads(text)
    except json.JSONDecodeError as error:
        raise WrongInput(f"{where}: line {error.lineno}: no JSON ({error.msg}); mend it there") from error
    if not isinstance(listed, list):
        raise WrongInput(f"{where}: a list of entries is needed, one for each thing that was wrong")
    found = [_entry(entry, f"{where}: entry {n}") for n, entry in enumerate(listed, start=1)]
    names = [t.id for t in found]
    if doubled := sorted({n for n in names if names.count(n) > 1}):
        raise WrongInput(f"{where}: '{doubled[0]}' is there twice; give each entry an id of its own")
    return found


def _entry(entry: Any, where: str) -> Truth:
    if not isinstance(entry, dict):
        raise WrongInput(f"{where} is no object with keys such as id, number and onset")
    name = entry.get("id")
    if not isinstance(name, str) or not name:
        raise WrongInput(f"{where}: 'id' is missing; give it a name")
    where = f"{where} ({name})"
    quiet = bool(entry.get("must_stay_quiet"))
    number = entry.get("number") or ""
    if not quiet and number not in BY_FAULT:
        raise WrongInput(f"{where}: number '{number}' is no fault of the list; write B1 to B{len(BY_FAULT)}")
    onset_ns = _time(entry, "onset", where)
    if onset_ns is None:
        raise WrongInput(f"{where}: 'onset_ns' (UTC nanoseconds) or 'onset' (ISO 8601) is missing")
    end_ns = _time(entry, "end", where)
    if end_ns is not None and end_ns < onset_ns:
        raise WrongInput(f"{where}: it ends before it begins; change 'onset' or 'end'")
    seen = "first_visible" in entry or "first_visible_ns" in entry
    within = entry.get("must_detect_within_s")
    if within is not None and (isinstance(within, bool) or not isinstance(within, int | float) or within < 0):
        raise WrongInput(f"{where}: 'must_detect_within_s' is a number of seconds, not '{within}'")
    place, tag, source = entry.get("place"), entry.get("tag"), entry.get("source")
    return Truth(
        id=name,
        number=number,
        onset_ns=onset_ns,
        end_ns=end_ns,
        visible_ns=_time(entry, "first_visible", where) if seen else onset_ns,
        within_s=None if within is None else float(within),
        tags=tuple(str(t) for t in entry.get("tags") or ()),
        source=str(source or ""),
        placed=place is not None or bool(tag) or bool(source),
        quiet=quiet,
        not_for=rules_of(entry.get("must_not_alarm") or ()) - rules_of([number]),
        text=str(entry.get("text") or ""),
    )


def _time(entry: Mapping[str, Any], key: str, where: str) -> int | None:
    """A time, as nanoseconds or as ISO 8601 text with its offset; None where there is none."""
    given = entry.get(f"{key}_ns")
    if given is not None:
        if isinstance(given, bool) or not isinstance(given, int):
            raise WrongInput(f"{where}: '{key}_ns' is a whole number of nanoseconds, not '{given}'")
        return given
    text = entry.get(key)
    if text is None:
        return None
    try:
        when = datetime.fromisoformat(str(text))
    except ValueError as error:
        raise WrongInput(f"{where}: {key} '{text}' is no time; write 2031-03-04T14:30:00+01:00") from error
    if when.tzinfo is None:
        raise WrongInput(f"{where}: {key} '{text}' does not say its zone; add it, as in {text}+01:00")
    return int(when.timestamp()) * NS + when.microsecond * 1000
