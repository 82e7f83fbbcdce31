"""Reads a panel's list of alarms into what happened to which alarm, line by line."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from historian.exchange import ReadTimes, read_times, rows_in
from historian.frame import NS
from rules.imported.form import AlarmListForm
from rules.imported.vocabulary import ACKED, CAME, GONE, NAMED, Said, state_word

_AHEAD_NS = 24 * 3600 * NS
_LONGEST = 400  # characters of a panel's words


@dataclass(frozen=True, slots=True)
class Happening:
    """What the list says happened to one alarm.

    Attributes:
        line: where it stands in the file, from 1.
        time_ns: UTC nanoseconds.
        number, text, alarm_class, area, by: as the panel wrote them; empty where the list has no such column.
        severity: 1 to 1000; 0 when the list does not tell.
        said: what became of the alarm; None when the list has no states, so that it only says that it was.
    """

    line: int
    time_ns: int
    number: str
    text: str
    alarm_class: str
    area: str
    by: str
    severity: int
    said: Said | None


@dataclass(frozen=True, slots=True)
class Refused:
    """A line that was not taken, and why."""

    line: int
    reason: str


@dataclass(frozen=True, slots=True)
class AlarmList:
    """What a file holds.

    Attributes:
        happenings: in the order of their times.
        refused: what does not fit, in the order of the file.
        doubtful: how many stand in the hour that the clock passes twice, where the order does not say which.
        rows: lines of data.
    """

    happenings: tuple[Happening, ...]
    refused: tuple[Refused, ...]
    doubtful: int
    rows: int


def read_alarm_list(path: Path, form: AlarmListForm, *, zone: str, now_ns: int) -> AlarmList:
    """What happened, by a panel's list.

    Args:
        zone: IANA name of the panel's clock.
        now_ns: a line of more than a day after it is refused.

    Raises:
        WrongInput: the file cannot be read, or is not written in the form's encoding.
    """
    rows = [(r.line, r.cells) for r in rows_in(path, form.encoding, form.separator, form.first_line)]
    refused: list[Refused] = []
    found: list[Happening] = []
    doubtful = 0
    for columns, said in _readings(form):
        stamps = [_joined(cells, columns) for _, cells in rows]
        times = read_times(stamps, form.format, zone)
        first = said is not GONE and said is not ACKED
        for k, (line, cells) in enumerate(rows):
            if not first and not stamps[k]:
                continue
            one = _happening(line, cells, form, times, k, said, now_ns, stamps[k], zone)
            if isinstance(one, Happening):
                found.append(one)
                doubtful += bool(times.doubtful[k])
            else:
                refused.append(one)
    return AlarmList(
        tuple(_in_order(found)), tuple(sorted(refused, key=lambda r: r.line)), doubtful, len(rows)
    )


def _readings(form: AlarmListForm) -> Iterator[tuple[tuple[int, ...], Said | None]]:
    """Columns of a time, and what that time tells; None: the column of states tells, or nothing does."""
    ends = [
        (form.places[part], said) for part, said in (("gone", GONE), ("acked", ACKED)) if part in form.places
    ]
    yield form.time, CAME if ends and "state" not in form.places else None
    yield from (((place,), said) for place, said in ends)


def _joined(cells: Sequence[str], places: Sequence[int]) -> str:
    return " ".join(cells[k].strip() for k in places if k < len(cells)).strip()


def _happening(
    line: int,
    cells: Sequence[str],
    form: AlarmListForm,
    times: ReadTimes,
    row: int,
    said: Said | None,
    now_ns: int,
    stamp: str,
    zone: str,
) -> Happening | Refused:
    if not times.read[row]:
        return Refused(
            line,
            f"'{_clean(stamp, 60)}' is no time in the form {form.format}, or one that the clock of {zone} "
            "skipped; mend the line, or give the right form and zone in a mapping",
        )
    time_ns = int(times.time_ns[row])
    if time_ns > now_ns + _AHEAD_NS:
        return Refused(line, f"'{_clean(stamp, 60)}' is still to come; check the day's and month's order")
    number, text = _cell(cells, form, "number"), _cell(cells, form, "text")
    if not number and not text:
        return Refused(line, "neither a number nor a text of an alarm stands there")
    if "state" in form.places:
        word = _cell(cells, form, "state")
        known = form.states.get(word.casefold()) or NAMED.get(state_word(word))
        if known is None:
            return Refused(
                line,
                f"it is not known what the state '{word}' means; say so in a mapping, under [states]: "
                f'"{word}" = "come", "gone" or "ack"',
            )
        said = known
    severity = _severity(_cell(cells, form, "severity"))
    if severity is None:
        return Refused(
            line, f"the severity '{_cell(cells, form, 'severity')}' is no whole number of 1 to 1000"
        )
    alarm_class, area, by = (_cell(cells, form, part) for part in ("class", "area", "by"))
    return Happening(line, time_ns, number, text, alarm_class, area, by, severity, said)


def _severity(text: str) -> int | None:
    if not text:
        return 0
    return int(text) if text.isascii() and text.isdigit() and 1 <= int(text) <= 1000 else None


def _cell(cells: Sequence[str], form: AlarmListForm, part: str) -> str:
    place = form.places.get(part, -1)
    return _clean(cells[place]) if 0 <= place < len(cells) else ""


def _clean(text: str, most: int = _LONGEST) -> str:
    """A panel's words as they can be kept: one line, cut, without bytes that are no text."""
    whole = text.encode("utf-8", "replace").decode("utf-8")
    return " ".join("".join(c if c.isprintable() else " " for c in whole).split())[:most]


def _in_order(found: Sequence[Happening]) -> list[Happening]:
    """By time; within one time as the list goes, which may begin with the newest."""
    if len(found) < 2:
        return list(found)
    by_line = sorted(found, key=lambda h: h.line)
    falls = np.diff([h.time_ns for h in by_line])
    newest_first = int((falls < 0).sum()) > int((falls > 0).sum())
    # What became of an alarm within one line and time: it came, was acknowledged, went.
    return sorted(found, key=lambda h: (h.time_ns, -h.line if newest_first else h.line, _step(h.said)))


def _step(said: Said | None) -> int:
    return 0 if said is None or said.active else 2 if said.active is False else 1
