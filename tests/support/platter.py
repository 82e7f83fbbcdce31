"""What a disk may hold after a power cut: everything synced, and of the rest whatever chance leaves.

A file's bytes are safe once the file was synced; a name in a folder is safe once the folder was synced, and
not before, as POSIX promises and no more. What was not synced may have reached the disk all the same: not at
all, whole, or in sectors of 512 bytes, a later write without an earlier one. Only a rename inside a folder is
always whole.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from random import Random
from typing import Self

from tests.support.shadow import Kind, Record

_SECTOR = 512
Change = tuple[int, bytes | None]
"""Bytes written at a place, or a new size."""


@dataclass(slots=True, eq=False)
class File:
    """A file: what is safe of it, and what has been done to it since it was synced."""

    safe: bytearray = field(default_factory=bytearray)
    since: list[Change] = field(default_factory=list)

    def sync(self) -> None:
        """Everything is safe from now on."""
        for change in self.since:
            _apply(self.safe, change)
        self.since = []

    def left(self, chance: Random) -> bytes:
        """What the disk holds of it after a cut."""
        found = bytearray(self.safe)
        likely = chance.choice([0.0, 0.0, 0.3, 0.7, 1.0, 1.0])
        for place, data in self.since:
            if data is None:
                if chance.random() < likely:
                    _apply(found, (place, data))
            elif chance.random() < likely:
                _apply(found, (place, data))
            else:
                for part in _torn(place, data, chance):
                    _apply(found, part)
        return bytes(found)

    def now(self) -> bytes:
        """What the program reads."""
        found = bytearray(self.safe)
        for change in self.since:
            _apply(found, change)
        return bytes(found)


Names = dict[str, "File | Folder"]
Step = dict[str, "File | Folder | None"]
"""What one call did to the names in a folder: who stands under each now; None: nobody."""


@dataclass(slots=True, eq=False)
class Folder:
    """A folder: the names that are safe, those that the program sees, and the steps between."""

    safe: Names = field(default_factory=dict)
    seen: Names = field(default_factory=dict)
    since: list[Step] = field(default_factory=list)

    def step(self, step: Step) -> None:
        """The program changes names."""
        self.since.append(step)
        _take(self.seen, step)

    def sync(self) -> None:
        """All names are safe from now on."""
        self.safe, self.since = dict(self.seen), []

    def left(self, chance: Random) -> Names:
        """The names that the disk holds after a cut; steps on one name keep their order."""
        found = dict(self.safe)
        likely = chance.choice([0.0, 0.0, 0.5, 1.0, 1.0])
        lost: set[str] = set()
        for step in self.since:
            if lost.isdisjoint(step) and chance.random() < likely:
                _take(found, step)
            else:
                lost |= set(step)
        return found


class Platter:
    """A folder on a disk, as the records of a diary make it.

    Attributes:
        notes: what the program has noted so far.
    """

    def __init__(self, root: Path) -> None:
        self.root = PurePosixPath(root.resolve())
        self._top = Folder()
        self._open: dict[int, File | Folder | None] = {}
        self.notes = b""

    @classmethod
    def of(cls, root: Path) -> Self:
        """A folder as it stands, everything in it safe."""
        platter = cls(root)
        platter._top = _standing(root)
        return platter

    def take(self, records: Iterable[Record]) -> None:
        """Let what the records tell happen."""
        for record in records:
            self._take(record)

    def cut(self, to: Path, chance: Random) -> None:
        """Write what a power cut leaves into a new folder."""
        _write(self._top, to, chance)

    def whole(self) -> dict[str, bytes]:
        """Every file that the program sees, by path below the folder."""
        return dict(_seen(self._top, PurePosixPath()))

    def _take(self, record: Record) -> None:
        match record.kind:
            case Kind.NOTE:
                self.notes += record.first
            case Kind.OPEN:
                self._opened(record)
            case Kind.CLOSE:
                self._open.pop(record.fd, None)
            case Kind.DUP:
                self._open[record.number] = self._open[record.fd]
            case Kind.WRITE:
                self._file(record).since.append((record.number, record.first))
            case Kind.TRUNCATE:
                self._file(record).since.append((record.number, None))
            case Kind.SYNC:
                held = self._open[record.fd]
                if held is not None:
                    held.sync()
            case Kind.SYNC_ALL:
                _sync_all(self._top)
            case Kind.MKDIR:
                folder, name = self._place(record.first)
                folder.step({name: Folder()})
            case Kind.UNLINK | Kind.RMDIR:
                folder, name = self._place(record.first)
                folder.step({name: None})
            case Kind.LINK:
                folder, name = self._place(record.second)
                source, old = self._place(record.first)
                folder.step({name: source.seen[old]})
            case Kind.RENAME:
                self._renamed(record)
            case Kind.UNSEEN:
                what, where = record.first.decode(), record.second.decode()
                raise NotImplementedError(f"the diary does not hold what {what} did to {where}")

    def _opened(self, record: Record) -> None:
        folder, name = self._place(record.first)
        if record.number & 1:
            folder.step({name: File()})
        held = folder.seen.get(name) if name else folder
        if isinstance(held, File) and record.number & 2:
            held.since.append((0, None))
        self._open[record.fd] = held

    def _renamed(self, record: Record) -> None:
        source, old = self._place(record.first)
        target, new = self._place(record.second)
        moved = source.seen[old]
        if source is target:
            source.step({old: None, new: moved})
        else:
            target.step({new: moved})
            source.step({old: None})

    def _file(self, record: Record) -> File:
        held = self._open[record.fd]
        assert isinstance(held, File)
        return held

    def _place(self, path: bytes) -> tuple[Folder, str]:
        """The folder that a path lies in, and its name there; the top folder itself has no name."""
        parts = PurePosixPath(path.decode()).relative_to(self.root).parts
        folder = self._top
        for part in parts[:-1]:
            below = folder.seen[part]
            assert isinstance(below, Folder)
            folder = below
        return folder, parts[-1] if parts else ""


def _apply(to: bytearray, change: Change) -> None:
    place, data = change
    if data is None:
        del to[place:]
        to.extend(bytes(place - len(to)))
    else:
        to.extend(bytes(max(0, place - len(to))))
        to[place : place + len(data)] = data


def _torn(place: int, data: bytes, chance: Random) -> Iterable[Change]:
    """Some sectors of a write; mostly none, now and then the file's new length without the bytes."""
    if chance.random() < 0.5:
        return
    if chance.random() < 0.3:
        yield place + len(data), b""
    likely = chance.random()
    at = place
    while at < place + len(data):
        end = min((at // _SECTOR + 1) * _SECTOR, place + len(data))
        if chance.random() < likely:
            yield at, data[at - place : end - place]
        at = end


def _take(names: Names, step: Step) -> None:
    for name, held in step.items():
        if held is None:
            names.pop(name, None)
        else:
            names[name] = held


def _standing(folder: Path) -> Folder:
    names: Names = {
        p.name: _standing(p) if p.is_dir() else File(bytearray(p.read_bytes())) for p in folder.iterdir()
    }
    return Folder(names, dict(names))


def _sync_all(folder: Folder) -> None:
    folder.sync()
    for held in folder.seen.values():
        if isinstance(held, File):
            held.sync()
        else:
            _sync_all(held)


def _write(folder: Folder, to: Path, chance: Random) -> None:
    to.mkdir()
    for name, held in folder.left(chance).items():
        if isinstance(held, Folder):
            _write(held, to / name, chance)
        # SQLite builds its index of the log anew after a stop; it is mapped memory, which no diary holds.
        elif not name.endswith("-shm"):
            (to / name).write_bytes(held.left(chance))


def _seen(folder: Folder, at: PurePosixPath) -> Iterable[tuple[str, bytes]]:
    for name, held in folder.seen.items():
        if isinstance(held, Folder):
            yield from _seen(held, at / name)
        else:
            yield str(at / name), held.now()
