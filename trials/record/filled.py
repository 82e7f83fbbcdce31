"""A file that people fill in: the forms of a trial as tables of a TOML or JSON file. Pure.

A form of which a trial has one is a table (``[material]``), the others are lists of tables (``[[sample]]``).
``at`` says when it was so.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any, Final

from historian.errors import WrongInput
from trials.forms.forms import filled_in
from trials.record.entries import FORMS, ONCE, Entry, What

_AT: Final = "at"
_MOMENTS: Final = frozenset(
    {
        What.SCREEN,
        What.SETTING,
        What.LOT,
        What.SAMPLE,
        What.WEIGHING,
        What.BAG,
        What.NOTE,
        What.ZERO_CHECK,
        What.SITTING,
    }
)
"""What happened at a moment, which must be told."""
_KEYS: Final = {str(what).replace("-", "_"): what for what in FORMS}


@dataclass(frozen=True, slots=True)
class Filled:
    """One form that was filled in.

    Attributes:
        time_ns: when it was so, UTC nanoseconds; None: nothing was told of it.
        where: its place in the file.
    """

    what: What
    data: Mapping[str, Any]
    time_ns: int | None
    where: str


def filled_forms(file: Mapping[str, Any], time_ns_of: Callable[[str], int], name: str) -> list[Filled]:
    """The forms of a file, each checked.

    Args:
        time_ns_of: reads a time as it was written; raises ``WrongInput`` for what is none.
        name: of the file, for what is told.

    Raises:
        WrongInput: naming file, form and key; every form is looked at first, so that nothing is half taken.
    """
    faults: list[str] = []
    forms: list[Filled] = []
    for what, where, table in _tables(file, name):
        try:
            forms.append(_one(what, dict(table), where, time_ns_of))
        except WrongInput as error:
            faults.append(str(error))
    if faults:
        raise WrongInput("\n".join(faults))
    return forms


def is_there(form: Filled, standing: list[Entry]) -> bool:
    """Whether a record says so already: a file may be handed in again when it has grown."""
    return any(
        e.what is form.what and dict(e.data) == dict(form.data) and form.time_ns in (None, e.time_ns)
        for e in standing
    )


def _tables(file: Mapping[str, Any], name: str) -> Iterator[tuple[What, str, Mapping[str, Any]]]:
    for key, value in file.items():
        what = _KEYS.get(key)
        if what is None:
            near = get_close_matches(key, _KEYS, n=1)
            hint = f"; the nearest is {near[0]}" if near else f"; there are: {', '.join(_KEYS)}"
            raise WrongInput(f"{name}: there is no form '{key}'{hint}")
        tables = [value] if isinstance(value, Mapping) else value
        if what in ONCE and not isinstance(value, Mapping):
            raise WrongInput(f"{name}: a trial has one {what}: write [{key}]")
        if not isinstance(tables, list) or not all(isinstance(t, Mapping) for t in tables):
            raise WrongInput(f"{name}: {key} is a form: write [[{key}]] and its keys below it")
        for n, table in enumerate(tables, start=1):
            yield what, f"{name}, {key}{f' {n}' if what not in ONCE else ''}", table


def _one(what: What, table: dict[str, Any], where: str, time_ns_of: Callable[[str], int]) -> Filled:
    written = table.pop(_AT, None)
    if written is None and what in _MOMENTS:
        raise WrongInput(f'{where}: say when it was so: at = "2026-11-25T09:10"')
    time_ns = None if written is None else _time_ns(written, time_ns_of, where)
    return Filled(what, filled_in(FORMS[what], table, where), time_ns, where)


def _time_ns(written: Any, time_ns_of: Callable[[str], int], where: str) -> int:
    try:
        return time_ns_of(written if isinstance(written, str) else written.isoformat())
    except (WrongInput, AttributeError) as error:
        raise WrongInput(f"{where}: at: {error}") from error
