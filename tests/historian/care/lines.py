"""A line's folder with sealed hours, recent rows and rollups, and what was put into it."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

import numpy as np

from historian.archive.disk import HostDisk
from historian.archive.manifest import Manifest
from historian.archive.reader import ArchiveReader
from historian.archive.writer import ArchiveWriter, load_manifest
from historian.embedded.newest import Newest
from historian.embedded.recent import Recent
from historian.embedded.store import EmbeddedStore
from historian.embedded.tag_list import NAME as TAGS
from historian.embedded.tag_list import TagList
from historian.embedded.upkeep import Upkeep
from historian.frame import NS, Frame
from historian.retention import Keep
from historian.rollups.writer import RollupWriter, reader_of
from historian.store import Modified
from historian.tags import Tag

T0 = 1_893_456_000 * NS
HOUR_NS = 3600 * NS
PATHS = {1: "filter.inlet.pressure.pv", 2: "filter.outlet.pressure.pv"}


def scan(minute: int) -> Frame:
    """A minute of two tags at a sample in ten seconds; the value tells minute and second."""
    time_ns = np.tile(T0 + (minute * 60 + np.arange(0, 60, 10)) * NS, 2)
    value = np.arange(12) + minute * 100.0
    arrival_ns = T0 + (minute * 60 + 61) * NS
    return Frame.of(np.repeat([1, 2], 6), time_ns, value, np.zeros(12), arrival_ns=arrival_ns)


class Folder:
    """A store's folder as a run leaves it."""

    def __init__(self, folder: Path, *, hours: int = 3, sealed: int = 2, tidy: bool = True) -> None:
        """Args: ``hours`` hours of frames, the first ``sealed`` of them in segments (and gone from recent.db)."""
        self.folder = folder
        store = EmbeddedStore.open(folder)
        self.tags = store.register([Tag(p, "bar") for p in PATHS.values()])
        store.append(*(scan(minute) for minute in range(hours * 60)))
        store.close()
        (folder / TAGS).write_bytes(TagList("line-1", self.numbered).to_bytes())
        self.seal(sealed * 60)
        if tidy:
            self.forget()

    @property
    def numbered(self) -> dict[int, Tag]:
        return {t.id: t for t in self.tags.values()}

    def seal(self, minutes: int) -> None:
        writer = ArchiveWriter.open(self.folder / "archive", "line-1")
        frames = ((m + 1, scan(m)) for m in range(minutes))
        writer.seal(frames, self.numbered)
        self.roll_up()

    def compact(self, *, hours_stay: bool = False) -> None:
        """Make days; ``hours_stay`` as after a stop before the hours' files were deleted."""
        root = self.folder / "archive"
        before = {p: p.read_bytes() for p in root.rglob("*.parquet")} if hours_stay else {}
        writer = ArchiveWriter.open(root, "line-1")
        writer.compact(self.numbered, before_ns=2**62)
        writer.drop([])
        for path, data in before.items():
            path.write_bytes(data)

    def roll_up(self) -> None:
        rollups = RollupWriter(self.folder / "rollups", HostDisk())
        rollups.bring_up(self.manifest.segments, reader_of(self.folder / "archive"), PATHS)

    def forget(self) -> None:
        """Delete the rows that are sealed, as a writer does."""
        recent = Recent.open(self.folder / "recent.db", write=True)
        sealed = self.manifest.sealed_seq
        recent.let_go(sealed, Newest.of(sealed, ArchiveReader(self.folder / "archive").latest()).to_bytes())
        recent.close()

    def step(self, now_ns: int) -> None:
        """What a running line does once a minute."""
        with closing(Upkeep.open(self.folder, "line-1", Keep())) as upkeep:
            upkeep.step(now_ns)

    def modified(self) -> list[Modified]:
        """What later writes replaced."""
        with closing(EmbeddedStore.open(self.folder, mode="read")) as store:
            return [m for path in PATHS.values() for m in store.modified(path, 0, 2**62)]

    @property
    def manifest(self) -> Manifest:
        found = load_manifest(self.folder / "archive")
        assert found is not None
        return found

    def path(self, hour: int, kind: str) -> Path:
        """The file of a kind of the segment that holds an hour."""
        (segment,) = self.manifest.between(T0 + hour * HOUR_NS, T0 + (hour + 1) * HOUR_NS)
        (entry,) = [f for f in segment.files if f.kind == kind]
        return self.folder / "archive" / entry.path

    def samples(self) -> set[tuple[int, int, float]]:
        """Every sample that a reader finds: tag, source time, value."""
        with closing(EmbeddedStore.open(self.folder, mode="read")) as store:
            series = store.read(list(PATHS.values()), 0, 2**62)
        rows = [
            (number, at, value)
            for number, path in PATHS.items()
            for at, value in zip(series[path].time_ns.tolist(), series[path].value.tolist(), strict=True)
        ]
        found = set(rows)
        assert len(found) == len(rows), "none is doubled"
        return found


def expected(minutes: int, start: int = 0) -> set[tuple[int, int, float]]:
    """What the frames of these minutes hold."""
    found = set()
    for m in range(start, minutes):
        f = scan(m)
        found |= set(zip(f.tag.tolist(), f.time_ns.tolist(), f.value.tolist(), strict=True))
    return found


def flip(path: Path, at: int = -200) -> None:
    """Change one byte."""
    data = bytearray(path.read_bytes())
    data[at] ^= 0x55
    path.write_bytes(data)
