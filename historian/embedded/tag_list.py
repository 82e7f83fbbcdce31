"""The tags of a store written down once more, in a file beside it.

``FOLDER/tags.json``: for whoever reads the segments without us, and for the day on which ``recent.db`` is
lost: a segment alone knows a tag's number, path and unit, but not whether it holds or is sloped, nor its
words.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from historian.archive.manifest import checksum_of
from historian.errors import StoredDataDamaged, WrongInput
from historian.tags import Tag
from historian.told import told

NAME: Final = "tags.json"
FORMAT: Final = "meltledger-tags"
VERSION: Final = 1


@dataclass(frozen=True, slots=True)
class TagList:
    """A line's name, and its tags by number."""

    line: str
    tags: Mapping[int, Tag]

    def to_bytes(self) -> bytes:
        """The list's file."""
        body = {
            "format": FORMAT,
            "version": VERSION,
            "line": self.line,
            "tags": {str(number): tag.to_json() for number, tag in sorted(self.tags.items())},
        }
        whole = {**body, "checksum": checksum_of(body)}
        return (json.dumps(whole, ensure_ascii=False, indent=1) + "\n").encode()

    @classmethod
    def from_bytes(cls, data: bytes, *, where: str) -> TagList:
        """The list of a file's bytes.

        Raises:
            WrongInput: written by a newer release.
            StoredDataDamaged: not what ``to_bytes`` wrote; ``where`` names the file.
        """
        try:
            body = json.loads(data)
            sound = body.pop("checksum") == checksum_of(body) and body["format"] == FORMAT
            version = int(body["version"])
        except (ValueError, KeyError, TypeError, AttributeError) as error:
            raise StoredDataDamaged(_DAMAGED.format(where=where)) from error
        if not sound:
            raise StoredDataDamaged(_DAMAGED.format(where=where))
        if version > VERSION:
            raise WrongInput(f"{where}: written by a newer meltledger (version {version}); update this one")
        return cls(body["line"], {int(n): Tag.from_json(tag, id=int(n)) for n, tag in body["tags"].items()})


def load_tags(folder: Path) -> TagList | None:
    """The list in a store's folder; None where there is none.

    Raises:
        WrongInput, StoredDataDamaged: see ``TagList.from_bytes``.
    """
    path = folder / NAME
    with told(path):
        if not path.exists():
            return None
        return TagList.from_bytes(path.read_bytes(), where=str(path))


_DAMAGED: Final = "{where}: the list of tags does not match its check sum; `meltledger run` writes it again"
