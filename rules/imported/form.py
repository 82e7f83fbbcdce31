"""Finds where the parts of an alarm stand in a panel's list; what a person has confirmed comes first."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from historian.errors import WrongInput
from historian.exchange import Layout
from rules.imported.vocabulary import HEADINGS, NAMED, Said, heading_word, state_word

PARTS: Final = tuple(p for p in HEADINGS if p != "came")
"""Parts of an alarm that a column may hold, beside its time."""

_MOSTLY: Final = 0.9


@dataclass(frozen=True, slots=True)
class Given:
    """What a person has confirmed of a list; what is None or missing is guessed.

    Attributes:
        encoding, first_line: see ``AlarmListForm``; the separator was given to the layout already.
        time: headings or numbers (from 1) of the columns that make the time.
        format: of the times, as in a mapping for samples.
        columns: part of an alarm → heading or number of its column; 0: the list has none.
        states: word in the list → ``come``, ``gone``, ``ack``, ``come+ack`` or ``gone+ack``.
    """

    encoding: str | None = None
    first_line: int | None = None
    time: Sequence[str | int] | None = None
    format: str | None = None
    columns: Mapping[str, str | int] = field(default_factory=dict)
    states: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class AlarmListForm:
    """Where everything stands in a list.

    Attributes:
        encoding, separator: of the file.
        names: of the columns; empty when there is no header.
        first_line: of the data, from 1.
        time: places of the cells that make the stamp, from 0.
        format: of the stamp.
        places: part of an alarm (see ``vocabulary.HEADINGS``) → place of its column.
        states: word in the list, lower case → what it tells.
        doubts: what to confirm, one sentence each.
    """

    encoding: str
    separator: str
    names: tuple[str, ...]
    first_line: int
    time: tuple[int, ...]
    format: str
    places: Mapping[str, int]
    states: Mapping[str, Said]
    doubts: tuple[str, ...] = ()

    def heading(self, place: int) -> str | int:
        """How a person names the column: its heading where no other has it, else its number."""
        name = self.names[place].strip() if place < len(self.names) else ""
        return name if name and self.names.count(self.names[place]) == 1 else place + 1


def form_of(path: Path, layout: Layout, given: Given = Given()) -> AlarmListForm:
    """Where everything stands, as far as it was given, else as the file looks.

    Args:
        path: of the file, for errors only.

    Raises:
        WrongInput: no time or no text is found, or what was given is not in the file; naming the remedy.
    """
    shape, doubts = layout.shape, list[str]()
    names, said = shape.names, [heading_word(name) for name in shape.names]
    time, form = _time_of(path, layout, given, said, doubts)
    asked = {
        part: -1 if column == 0 else _place(path, names, len(shape.columns), column)
        for part, column in given.columns.items()
    }
    for place, part in enumerate(said):
        if part in PARTS and part not in asked and place not in time and place not in asked.values():
            asked[part] = place
    _guess_by_cells(shape.columns, time, asked, doubts, names)
    if asked.get("state", -1) >= 0:  # then columns of that name are flags or repeat it
        asked = {p: k for p, k in asked.items() if p not in ("gone", "acked") or p in given.columns}
    found = {part: place for part, place in asked.items() if place >= 0}
    if "text" not in found and "number" not in found:
        raise WrongInput(
            f"{path}: no column of texts or numbers is found (columns: {', '.join(names) or 'no header'}); "
            'name one in a mapping, under [columns]: text = "…"'
        )
    return AlarmListForm(
        given.encoding or layout.encoding,
        shape.separator,
        names,
        given.first_line or shape.first_line,
        time,
        form,
        found,
        {word.strip().casefold(): NAMED[told] for word, told in given.states.items()},
        tuple(doubts),
    )


def _time_of(
    path: Path, layout: Layout, given: Given, said: Sequence[str], doubts: list[str]
) -> tuple[tuple[int, ...], str]:
    """(places, form) of the time."""
    stamp, width = layout.stamp, len(layout.shape.columns)
    if given.time is not None:
        time = tuple(_place(path, layout.shape.names, width, one) for one in given.time)
    elif stamp is not None:
        time = stamp.places
        doubts += () if given.format else stamp.doubts
    else:
        raise WrongInput(f'{path}: no column of times is found; name it in a mapping: time = ["…"]')
    form = given.format or (stamp.form if stamp is not None else "")
    if not form:
        raise WrongInput(f'{path}: the form of the times is not seen; give it in a mapping: format = "…"')
    if given.time is None and "came" in said and {said[k] for k in time if k < len(said)} & {"gone", "acked"}:
        time = (said.index("came"),)  # all three are times; an alarm's own is that of its coming
    return time, form


def _place(path: Path, names: Sequence[str], width: int, column: str | int) -> int:
    if isinstance(column, int):
        if not 1 <= column <= max(width, len(names)):
            raise WrongInput(f"{path}: there is no column number {column}; the file has {width}")
        return column - 1
    low = " ".join(column.split()).casefold()
    places = [k for k, n in enumerate(names) if " ".join(n.split()).casefold() == low]
    if len(places) != 1:
        known = ", ".join(n for n in names if n.strip()) or "nothing: give the number of the column instead"
        many = "no" if not places else f"{len(places)} columns named"
        raise WrongInput(f"{path}: the header has {many} '{column}'; it has {known}")
    return places[0]


def _guess_by_cells(
    columns: Sequence[Sequence[str]],
    time: Sequence[int],
    asked: dict[str, int],
    doubts: list[str],
    names: Sequence[str],
) -> None:
    """Fill in state and text by what stands in the cells, where no heading says which it is."""
    free = [k for k in range(len(columns)) if k not in time and k not in asked.values()]
    if "state" not in asked and not {"gone", "acked"} & asked.keys():
        for k in free:
            words = {c.strip() for c in columns[k] if c.strip()}
            if 1 < len(words) <= 8 and sum(bool(state_word(w)) for w in words) >= _MOSTLY * len(words):
                asked["state"] = k
                free.remove(k)
                doubts.append(f"column {_called(names, k)} is taken for the state")
                break
    if "text" not in asked and free:
        longest = max(free, key=lambda k: sum(len(c.strip()) for c in columns[k]))
        if any(any(ch.isalpha() for ch in c) for c in columns[longest]):
            asked["text"] = longest
            doubts.append(f"column {_called(names, longest)} is taken for the text")


def _called(names: Sequence[str], place: int) -> str:
    name = names[place].strip() if place < len(names) else ""
    return f"'{name}'" if name else f"number {place + 1}"
