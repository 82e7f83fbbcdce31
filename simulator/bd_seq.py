"""Keeps the number that ties a Sparkplug edge node's deaths to its births over restarts.

Source: Sparkplug specification 3.0, requirement tck-id-topics-nbirth-bdseq-increment: it starts at zero and
rises by one with every CONNECT.
"""

from __future__ import annotations

import os
from pathlib import Path

from historian.errors import StoredDataDamaged, StoreReadOnly

_NUMBERS = 256


def read_bd_seq(path: Path) -> int:
    """The number of the last connection; −1 when there was none.

    Raises:
        StoredDataDamaged: the file holds no such number.
    """
    if not path.exists():
        return -1
    text = path.read_text(encoding="utf-8", errors="replace").strip()
    if not text.isdecimal() or int(text) >= _NUMBERS:
        raise StoredDataDamaged(
            f"{path}: '{text[:20]}' is no number from 0 to {_NUMBERS - 1}; delete the file to begin at 0"
        )
    return int(text)


def write_bd_seq(path: Path, number: int) -> None:
    """Keep the number of the connection that is about to be made.

    Raises:
        StoreReadOnly: the file cannot be written.
    """
    new = path.with_name(f"{path.name}.new")
    try:
        new.write_text(f"{number}\n", encoding="utf-8")
        os.replace(new, path)
    except OSError as error:
        raise StoreReadOnly(
            f"{path}: the number cannot be kept ({error.strerror}); name another file"
        ) from error
