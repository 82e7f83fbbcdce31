"""A disk that stops taking anything after so many calls."""

from __future__ import annotations

from pathlib import Path

from historian.archive.disk import HostDisk
from historian.errors import StoreFull


class StoppingDisk(HostDisk):
    """Does what the host's disk does, until its calls are used up; ``left`` is below zero from then on."""

    def __init__(self, calls: int) -> None:
        self.left = calls

    def _count(self) -> None:
        self.left -= 1
        if self.left < 0:
            raise StoreFull("no space, for the test")

    def write(self, path: Path, data: bytes) -> None:
        self._count()
        super().write(path, data)

    def rename(self, old: Path, new: Path) -> None:
        self._count()
        super().rename(old, new)

    def sync_folder(self, path: Path) -> None:
        self._count()
        super().sync_folder(path)

    def delete(self, path: Path) -> None:
        self._count()
        super().delete(path)
