"""Finds the columns of a file that hold the time, and the form in which it is written."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from historian.exchange._clock import stamp_reader

_DATES: Final = (
    "%Y-%m-%d", "%d.%m.%Y", "%Y/%m/%d", "%d/%m/%Y", "%m/%d/%Y", "%d-%m-%Y", "%d.%m.%y", "%d/%m/%y",
    "%m/%d/%y", "%d-%b-%Y", "%Y.%m.%d",
)  # fmt: skip
_CLOCKS: Final = (
    "%H:%M:%S", "%H:%M:%S.%f", "%H:%M:%S,%f", "%H:%M", "%I:%M:%S %p", "%I:%M:%S.%f %p", "%I:%M %p",
    "%H:%M:%S:%f",
)  # fmt: skip
# Digits of a count since 1970 for the years from 2001 on.
_UNIX: Final = {10: "unix_s", 13: "unix_ms", 16: "unix_us", 19: "unix_ns"}
_READ = 0.9


@dataclass(frozen=True, slots=True)
class StampGuess:
    """Where the time stands.

    Attributes:
        places: of its columns, from 0.
        form: as in a mapping's ``format``.
        utc: whether the stamps say their offset themselves.
        doubts: what to confirm.
    """

    places: tuple[int, ...]
    form: str
    utc: bool
    doubts: tuple[str, ...] = ()


def stamp_of(columns: Sequence[Sequence[str]]) -> StampGuess | None:
    """Where the time stands; None when no column, and no two neighbours, can be read as times."""
    for k, cells in enumerate(columns):
        if guess := _guess((k,), cells, _whole_forms()):
            return guess
    for k in range(len(columns) - 1):
        joined = [f"{a.strip()} {b.strip()}" for a, b in zip(columns[k], columns[k + 1], strict=True)]
        if guess := _guess((k, k + 1), joined, _pair_forms()):
            return guess
    for k, cells in enumerate(columns):
        said = [c.strip() for c in cells if c.strip()]
        form = _UNIX.get(len(said[0].partition(".")[0])) if said else None
        if form and _runs_on(said, form):
            return StampGuess((k,), form, True)
    return None


def _whole_forms() -> Iterator[str]:
    yield "iso"
    yield from _pair_forms()


def _pair_forms() -> Iterator[str]:
    return (f"{date} {clock}" for date in _DATES for clock in _CLOCKS)


def _guess(places: tuple[int, ...], cells: Sequence[str], forms: Iterator[str]) -> StampGuess | None:
    said = [c.strip() for c in cells if c.strip()]
    if not said:
        return None
    fits = [form for form in forms if _reads(said, form)]
    if not fits:
        return None
    if len(fits) == 1 or fits[0] == "iso":
        return StampGuess(places, fits[0], _all_utc(said, fits[0]))
    # Day and month can be told only by how the times then run on.
    best = min(fits, key=lambda form: (_backward(said, form), _span(said, form)))
    other = next(form for form in fits if form != best)
    return StampGuess(
        places, best, False, (f"the times are read as {best}; {other} can be read too: which is the day?",)
    )


def _reads(said: Sequence[str], form: str) -> bool:
    read = stamp_reader(form)
    if read(said[0]) is None and read(said[-1]) is None:
        return False
    return sum(read(c) is not None for c in said) >= _READ * len(said)


def _all_utc(said: Sequence[str], form: str) -> bool:
    read = stamp_reader(form)
    return all(s[1] for s in map(read, said) if s is not None)


def _times(said: Sequence[str], form: str) -> list[int]:
    return [s[0] for s in map(stamp_reader(form), said) if s is not None]


def _backward(said: Sequence[str], form: str) -> int:
    steps = [b - a for a, b in pairwise(_times(said, form))]
    return min(sum(s < 0 for s in steps), sum(s > 0 for s in steps))


def _span(said: Sequence[str], form: str) -> int:
    times = _times(said, form)
    return max(times) - min(times)


def _runs_on(said: Sequence[str], form: str) -> bool:
    """Whether all can be read and run one way: a counter of other things seldom has so many digits."""
    times = _times(said, form)
    return len(times) == len(said) and _backward(said, form) == 0
