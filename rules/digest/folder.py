"""Puts a digest into a folder as a file; written twice it is the same file, so nothing is ever in doubt."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

from rules.digest.delivery import Fate, Outcome
from rules.digest.outbox import Post


class Folder:
    """Any folder that a post names."""

    def carry(self, post: Post, handing_over: Callable[[], None]) -> Outcome:
        """Write one digest; see ``rules.digest.delivery.Carrier``."""
        path = Path(post.recipient.partition(":")[2]) / post.name
        try:
            write_whole(path, post.body)
        except OSError as error:
            return Outcome(Fate.LATER, f"{path}: cannot be written ({error.strerror}); check the folder")
        return Outcome(Fate.SENT, str(path))


def write_whole(path: Path, body: bytes) -> None:
    """A file that is there in whole or not at all, also after a power cut.

    Raises:
        OSError: it cannot be written.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    beside = path.with_name(f".{path.name}.new")
    with open(beside, "wb") as out:
        out.write(body)
        out.flush()
        os.fsync(out.fileno())
    os.replace(beside, path)
