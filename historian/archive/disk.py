"""The few things the archive asks of a disk, so that a test can stand in for one that fails."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Protocol

from historian.errors import StoreFull, StoreReadOnly
from historian.told import told


class Disk(Protocol):
    """What the archive needs; each call has reached the disk when it returns, except ``rename``."""

    def write(self, path: Path, data: bytes) -> None:
        """A new file with these bytes, synced; its folder is made where it is missing, but not synced."""
        ...

    def rename(self, old: Path, new: Path) -> None:
        """The file under its new name, over what was there, in one step."""
        ...

    def sync_folder(self, path: Path) -> None:
        """What was made, renamed or deleted in this folder is kept from now on."""
        ...

    def delete(self, path: Path) -> None:
        """No file of this name any more; nothing happens when there was none."""
        ...


class HostDisk:
    """The disk of this host.

    Raises:
        StoreFull, StoreReadOnly: naming the file and the remedy.
    """

    def write(self, path: Path, data: bytes) -> None:
        """A new file with these bytes, synced; its folder is made where it is missing, but not synced."""
        with told(path):
            path.parent.mkdir(parents=True, exist_ok=True)
        try:
            with told(path), path.open("wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
        except (StoreFull, StoreReadOnly):
            # Half a file would take the space that the next try needs.
            path.unlink(missing_ok=True)
            raise

    def rename(self, old: Path, new: Path) -> None:
        """The file under its new name, over what was there, in one step."""
        with told(new):
            old.replace(new)

    def sync_folder(self, path: Path) -> None:
        """What was made, renamed or deleted in this folder is kept from now on."""
        with told(path):
            handle = os.open(path, os.O_RDONLY | os.O_DIRECTORY)
            try:
                os.fsync(handle)
            finally:
                os.close(handle)

    def delete(self, path: Path) -> None:
        """No file of this name any more; nothing happens when there was none."""
        with told(path):
            path.unlink(missing_ok=True)
