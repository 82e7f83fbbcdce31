"""Folders that a power cut does not take back."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path


def made(folder: Path) -> Path:
    """The folder, made with its parents where it is missing; its name is on the disk when this returns.

    A synced file in a folder whose own name was never synced may be gone after a power cut, folder and all.

    Raises:
        OSError: it cannot be made.
    """
    missing = [p for p in (folder, *folder.parents) if not p.exists()]
    for each in reversed(missing):
        each.mkdir(exist_ok=True)
        _sync(each.parent)
    if not missing:
        # Whoever made it may have been stopped before this.
        _sync(folder.parent)
    return folder


def _sync(folder: Path) -> None:
    # A parent that this user may not open was made by somebody else, long since.
    with contextlib.suppress(PermissionError):
        handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
