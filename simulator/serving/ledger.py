"""What was really published, line by line, so that a loss can be counted."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator
from pathlib import Path
from types import TracebackType
from typing import Self

from historian.errors import StoredDataDamaged, StoreReadOnly
from simulator.published import Sample

HEADER = ("path", "time_ns", "value", "quality", "changed")


class Ledger:
    """A CSV file of published samples; each ``write`` is handed to the system before it returns.

    ``changed`` is 1 where value or quality differ from the sample before: a server with the ordinary trigger
    tells a subscriber nothing of the others.
    """

    def __init__(self, path: Path, *, append: bool = False) -> None:
        """Begin a new file, or go on with one; a last line that a crash cut short is dropped."""
        try:
            going_on = append and _whole_lines(path)
            self._file = path.open("a" if going_on else "w", newline="", encoding="utf-8")
        except OSError as error:
            raise StoreReadOnly(
                f"{path}: the ledger cannot be written ({error.strerror}); name another file"
            ) from error
        self._rows = csv.writer(self._file)
        if not going_on:
            self._rows.writerow(HEADER)

    def write(self, samples: Iterable[Sample]) -> None:
        """Add one publication."""
        self._rows.writerows((s.path, s.time_ns, repr(s.value), s.quality, int(s.changed)) for s in samples)
        self._file.flush()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._file.close()


def _whole_lines(path: Path) -> bool:
    """Cut off what follows the last end of a line; whether anything is left."""
    if not path.exists():
        return False
    with path.open("r+b") as file:
        size = file.seek(0, 2)
        # A line is far shorter than this.
        begin = max(0, size - 65_536)
        file.seek(begin)
        kept = begin + file.read().rfind(b"\n") + 1
        file.truncate(kept)
    return kept > 0


def read_ledger(path: Path) -> Iterator[Sample]:
    """The samples of a ledger in their order, as far as its lines are whole; none when there is no file.

    Raises:
        StoredDataDamaged: a whole line cannot be read.
    """
    if not path.exists():
        return
    with path.open(newline="", encoding="utf-8") as file:
        for number, line in enumerate(file, start=1):
            if not line.endswith("\n"):
                return
            fields = line.rstrip("\r\n").split(",")
            if number == 1 and tuple(fields) == HEADER:
                continue
            try:
                tag, time_ns, value, quality, changed = fields
                yield Sample(tag, -1, int(time_ns), float(value), int(quality), changed == "1")
            except ValueError as error:
                raise StoredDataDamaged(
                    f"{path}:{number}: not a line of a ledger ({line.strip()[:60]!r}); name another file"
                ) from error
