"""A program under ``shadow.c``: what it wrote below a folder, in order, and how much room it has there."""

from __future__ import annotations

import os
import struct
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from enum import IntEnum
from pathlib import Path
from typing import Self

_SOURCE = Path(__file__).with_name("shadow.c")
_HEAD = struct.Struct("<Iiq II")
_ROOM = struct.Struct("<qq")


class Kind(IntEnum):
    """What a record tells; the numbers of ``shadow.c``."""

    OPEN = 1
    CLOSE = 2
    WRITE = 3
    TRUNCATE = 4
    SYNC = 5
    RENAME = 6
    UNLINK = 7
    RMDIR = 8
    MKDIR = 9
    LINK = 10
    DUP = 11
    NOTE = 12
    UNSEEN = 13
    SYNC_ALL = 14


@dataclass(frozen=True, slots=True)
class Record:
    """One call that has worked.

    Attributes:
        fd: the open file that it was about; -1: none.
        number: place of a write, new size, flags of an open (1: made, 2: emptied), or the other file of a dup.
        first, second: path, written bytes or a note; the other path of a rename or a link.
    """

    kind: Kind
    fd: int
    number: int
    first: bytes
    second: bytes


def built(folder: Path) -> Path:
    """The layer as a library, compiled into the folder."""
    library = folder / "shadow.so"
    flags = ["-shared", "-fPIC", "-O2", "-Wall", "-Werror"]
    command = ["gcc", *flags, "-o", str(library), str(_SOURCE), "-lpthread", "-ldl"]
    subprocess.run(command, check=True)
    return library


@dataclass(frozen=True, slots=True)
class Shadow:
    """A layer before one folder.

    Attributes:
        library: what ``built`` gave.
        root: the folder that is watched; may be missing yet.
        beside: folder for the diary and the rest, outside ``root``.
    """

    library: Path
    root: Path
    beside: Path

    @classmethod
    def here(cls) -> Self:
        """The layer that this very program runs under."""
        beside = Path(os.environ["SHADOW_DIARY"]).parent
        return cls(Path(os.environ["LD_PRELOAD"]), Path(os.environ["SHADOW_ROOT"]), beside)

    @property
    def diary(self) -> Path:
        """File of the records."""
        return self.beside / "diary"

    @property
    def notes(self) -> Path:
        """What is written to this file becomes notes in the diary."""
        return self.beside / "notes"

    def environment(self, *, nosync: str = "") -> dict[str, str]:
        """For a program that shall run under the layer.

        Args:
            nosync: pattern of a path, as in a shell; syncs of such files do nothing.
        """
        self.beside.mkdir(parents=True, exist_ok=True)
        room = self.beside / "room"
        if not room.exists():
            room.write_bytes(_ROOM.pack(-1, 0))
        return {
            **os.environ,
            "LD_PRELOAD": str(self.library),
            "SHADOW_ROOT": str(self.root.resolve()),
            "SHADOW_DIARY": str(self.diary),
            "SHADOW_NOTES": str(self.notes),
            "SHADOW_NOSYNC": nosync,
            "SHADOW_ROOM": str(room),
        }

    def give_room(self, bytes_: int | None) -> None:
        """Let the folder hold so many bytes, in whole blocks of 4 KiB; None: any. Counts at once."""
        with (self.beside / "room").open("r+b") as file:
            file.write(struct.pack("<q", -1 if bytes_ is None else bytes_))

    def times_full(self) -> int:
        """How many calls have found the folder full."""
        return int(_ROOM.unpack((self.beside / "room").read_bytes())[1])

    def held(self) -> int:
        """Bytes that the folder holds now, as the layer counts them."""
        found = [self.root, *self.root.rglob("*")]
        return sum(4096 if p.is_dir() else (p.stat().st_size + 4095) // 4096 * 4096 for p in found)


def records(diary: Path) -> Iterator[Record]:
    """Every record of a diary."""
    data = diary.read_bytes()
    at = 0
    while at < len(data):
        kind, fd, number, first, second = _HEAD.unpack_from(data, at)
        at += _HEAD.size
        yield Record(Kind(kind), fd, number, data[at : at + first], data[at + first : at + first + second])
        at += first + second
