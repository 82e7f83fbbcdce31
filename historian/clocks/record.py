"""What people say about clocks, kept for ever: offsets fixed for a stretch, withdrawn, the edge's confirmed.

One file of JSON lines in the store's folder. Lines are only ever added; the samples stay as they came.
"""

from __future__ import annotations

import fcntl
import json
import os
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Self

from historian.errors import StoredDataDamaged, WrongInput
from historian.told import told

NAME: Final = "clock.jsonl"
_LONGEST: Final = 2000
_MS: Final = 1_000_000


@dataclass(frozen=True, slots=True)
class ClockFix:
    """One source's samples of a stretch, moved by one offset when they are read.

    Attributes:
        id: number in the record.
        source: whose samples.
        start_ns, end_ns: stretch [start, end) of their stored times, UTC nanoseconds.
        shift_ns: what is added to the stored time; whole milliseconds.
        at_ns, by, why: when it was fixed, by whom and for what reason.
    """

    id: int
    source: str
    start_ns: int
    end_ns: int
    shift_ns: int
    at_ns: int
    by: str
    why: str


@dataclass(frozen=True, slots=True)
class ClockRecord:
    """What a record says.

    Attributes:
        lines: everything in it, oldest first, as it stands there.
        fixes: the fixes that count.
        confirmed_ns: what the edge's clock showed when it was last confirmed; None when it never was.
    """

    lines: tuple[dict[str, Any], ...] = ()
    fixes: tuple[ClockFix, ...] = ()
    confirmed_ns: int | None = None

    @classmethod
    def of(cls, lines: Iterable[dict[str, Any]]) -> Self:
        """The record that these lines make.

        Raises:
            KeyError, TypeError, ValueError: they are not such lines.
        """
        kept = tuple(lines)
        fixes: dict[int, ClockFix] = {}
        confirmed_ns = None
        for number, line in enumerate(kept, 1):
            if line["what"] == "fix":
                names = ("source", "start_ns", "end_ns", "shift_ns", "at_ns", "by", "why")
                fixes[number] = ClockFix(number, *(line[name] for name in names))
            elif line["what"] == "withdraw":
                fixes.pop(int(line["fix"]), None)
            elif line["what"] == "confirm":
                confirmed_ns = int(line["at_ns"])
            else:
                raise ValueError(line["what"])
        return cls(kept, tuple(fixes.values()), confirmed_ns)


def read_record(folder: Path) -> ClockRecord:
    """What the record of a store's folder says; an empty one where there is none.

    Raises:
        StoredDataDamaged: a line is not what was written, naming it.
        StoreReadOnly: it cannot be read.
    """
    path = folder / NAME
    with told(path):
        if not path.exists():
            return ClockRecord()
        body = path.read_bytes()
    return ClockRecord.of(_parsed(path, body))


def fix(
    folder: Path, source: str, start_ns: int, end_ns: int, shift_ns: int, *, at_ns: int, by: str, why: str
) -> ClockFix:
    """Fix an offset for a stretch, and give it back with its number.

    Raises:
        WrongInput: an empty stretch, no offset, no whole milliseconds, no name or reason, or it overlaps
            another fix of the source: in the stored times, or in the times that come out.
        StoreFull, StoreReadOnly, StoredDataDamaged: nothing was written.
    """
    if end_ns <= start_ns:
        raise WrongInput("the stretch must end after it starts: --from is its first time, --to the end")
    if shift_ns == 0 or shift_ns % _MS:
        raise WrongInput("the shift must be whole milliseconds, and not none, such as '3600 s' or '-250 ms'")
    with _open(folder) as (record, add):
        for other in record.fixes:
            if other.source == source and _overlap(other, start_ns, end_ns, shift_ns):
                raise WrongInput(
                    f"fix {other.id} of source {source} already covers a part of this stretch; withdraw it "
                    "first, or choose another stretch"
                )
        said = {"source": source, "start_ns": start_ns, "end_ns": end_ns, "shift_ns": shift_ns}
        add({"what": "fix", **said, **_who(at_ns, by, why)})
        number = len(record.lines) + 1
    return ClockFix(number, source, start_ns, end_ns, shift_ns, at_ns, by.strip(), why.strip())


def withdraw(folder: Path, number: int, *, at_ns: int, by: str, why: str) -> ClockFix:
    """Let a fix count no more; it stays in the record.

    Raises:
        WrongInput: there is no such fix, or no name or reason.
        StoreFull, StoreReadOnly, StoredDataDamaged: nothing was written.
    """
    with _open(folder) as (record, add):
        found = next((f for f in record.fixes if f.id == number), None)
        if found is None:
            there = ", ".join(str(f.id) for f in record.fixes) or "none"
            raise WrongInput(f"no fix with the number {number} counts; those that do: {there}")
        add({"what": "withdraw", "fix": number, **_who(at_ns, by, why)})
    return found


def confirm(folder: Path, *, at_ns: int, by: str, why: str) -> None:
    """Say that the edge's clock is right now.

    Raises:
        WrongInput: no name or reason.
        StoreFull, StoreReadOnly, StoredDataDamaged: nothing was written.
    """
    with _open(folder) as (_, add):
        add({"what": "confirm", **_who(at_ns, by, why)})


def _overlap(one: ClockFix, start_ns: int, end_ns: int, shift_ns: int) -> bool:
    """Whether two fixes share a stored time, or a time that comes out."""
    stored = start_ns < one.end_ns and one.start_ns < end_ns
    out = start_ns + shift_ns < one.end_ns + one.shift_ns and one.start_ns + one.shift_ns < end_ns + shift_ns
    return stored or out


def _who(at_ns: int, by: str, why: str) -> dict[str, Any]:
    by, why = by.strip(), why.strip()
    if not by or not why or max(len(by), len(why)) > _LONGEST:
        raise WrongInput(f"say who (--by) and why (--why), in at most {_LONGEST} characters each")
    return {"at_ns": at_ns, "by": by, "why": why}


@contextmanager
def _open(folder: Path) -> Iterator[tuple[ClockRecord, Callable[[dict[str, Any]], None]]]:
    """The record, held against others who write, and what adds a line to it."""
    path = folder / NAME
    with told(path):
        folder.mkdir(parents=True, exist_ok=True)
        handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_APPEND, 0o640)
    try:
        with told(path):
            fcntl.flock(handle, fcntl.LOCK_EX)
            body = os.pread(handle, os.fstat(handle).st_size, 0)
        record = ClockRecord.of(_parsed(path, body))

        def add(line: dict[str, Any]) -> None:
            with told(path):
                # A line that a power cut tore never counted; it must not spoil the next one.
                os.ftruncate(handle, body.rfind(b"\n") + 1)
                os.write(handle, json.dumps(line, ensure_ascii=False).encode() + b"\n")
                os.fsync(handle)

        yield record, add
    finally:
        os.close(handle)


def _parsed(path: Path, body: bytes) -> list[dict[str, Any]]:
    """The whole lines; one without an end was torn by a power cut and never counted."""
    lines: list[dict[str, Any]] = []
    for number, text in enumerate(body[: body.rfind(b"\n") + 1].splitlines(), 1):
        try:
            line = json.loads(text)
            lines.append(line)
            ClockRecord.of([line])
        except (KeyError, TypeError, ValueError) as error:
            raise StoredDataDamaged(
                f"{path}, line {number}: is not what was written there; put the line back from a backup, or "
                "take it out: it then counts no more"
            ) from error
    return lines
