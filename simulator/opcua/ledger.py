"""What was really published, line by line, so that a loss can be counted."""

from __future__ import annotations

import csv
from collections.abc import Iterable
from pathlib import Path
from types import TracebackType
from typing import Self

from historian.errors import StoreReadOnly
from simulator.opcua.published import Sample

HEADER = ("path", "time_ns", "value", "quality", "changed")


class Ledger:
    """A CSV file of published samples; each ``write`` is handed to the system before it returns.

    ``changed`` is 1 where value or quality differ from the sample before: a server with the ordinary trigger
    tells a subscriber nothing of the others.
    """

    def __init__(self, path: Path) -> None:
        try:
            self._file = path.open("w", newline="", encoding="utf-8")
        except OSError as error:
            raise StoreReadOnly(
                f"{path}: the ledger cannot be written ({error.strerror}); name another file"
            ) from error
        self._rows = csv.writer(self._file)
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
