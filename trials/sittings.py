"""The sittings of a trial: the days on which people worked at the line, with the nights between. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from historian.errors import WrongInput
from trials.record.entries import Entry, What

BEGIN, END = "begin", "end"


@dataclass(frozen=True, slots=True)
class Sitting:
    """One sitting.

    Attributes:
        number: from 1 on.
        start_ns, end_ns: UTC nanoseconds, end excluded.
    """

    number: int
    start_ns: int
    end_ns: int


def sittings_of(entries: Iterable[Entry], start_ns: int, end_ns: int) -> list[Sitting]:
    """The sittings between a trial's start and end; one over all of it when nobody told of any.

    The first begins with the trial when its end, or the next one's beginning, is told first; the last that is
    not ended lasts until the trial's end. A beginning ends the sitting before it.

    Args:
        entries: that stand in the record; those of other forms are passed over.

    Raises:
        WrongInput: a sitting ends that did not begin, naming the entry.
    """
    told = sorted((e for e in entries if e.what is What.SITTING), key=lambda e: (e.time_ns, e.id))
    told = [e for e in told if start_ns <= e.time_ns <= end_ns]
    spans: list[tuple[int, int]] = []
    begun_ns: int | None = start_ns if not told or told[0].data["act"] == END else None
    for entry in told:
        if entry.data["act"] == BEGIN:
            if begun_ns is not None:
                spans.append((begun_ns, entry.time_ns))
            begun_ns = entry.time_ns
        elif begun_ns is None:
            raise WrongInput(f"entry {entry.id}: a sitting ends that did not begin; correct or take it back")
        else:
            spans.append((begun_ns, entry.time_ns))
            begun_ns = None
    if begun_ns is not None:
        spans.append((begun_ns, end_ns))
    return [Sitting(n, a, b) for n, (a, b) in enumerate((s for s in spans if s[1] > s[0]), start=1)]
