"""Room kept back for the day on which the disk is full, when nothing could be let go of without it."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path
from typing import Final

from historian.archive.disk import Disk
from historian.errors import StoreFull

NAME: Final = "spare.bin"
LEAST_BYTES: Final = 1 << 20


class Spare:
    """A file that means nothing and gives up its place.

    A new list must be written before the files that it leaves out may go. On a disk that is full to the last
    block not even that can be done, and what is old enough to go would keep the new from being recorded.
    """

    def __init__(self, folder: Path, disk: Disk) -> None:
        self._path = folder / NAME
        self._disk = disk

    def keep(self, size: int) -> None:
        """Have so many bytes there, or do without on a disk that has no room for them."""
        there = self._path.stat().st_size if self._path.exists() else 0
        if there < size:
            with suppress(StoreFull):
                # Bytes that no file system makes smaller.
                self._disk.write(self._path, os.urandom(size))

    def spend(self) -> None:
        """Give the place up."""
        self._disk.delete(self._path)
