"""A line whose folder is open for writing, and all that was appended to it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from historian.archive.disk import HostDisk
from historian.archive.manifest import DAY_NS, Manifest
from historian.archive.writer import load_manifest
from historian.embedded.recent import Recent
from historian.embedded.store import EmbeddedStore
from historian.embedded.upkeep import Kept, Upkeep
from historian.frame import NS, Frame
from historian.retention import Keep, Window
from historian.rollups.columns import MINUTE_NS
from historian.tags import Tag

T0 = 1_893_456_000 * NS  # 2030-01-01 00:00 UTC
EVER = (T0 - 10_000 * DAY_NS, T0 + 10_000 * DAY_NS)
PATHS = ("filter.inlet.pressure.pv", "line.state")
Rows = dict[str, list[tuple[int, float, int]]]


def scan(at_ns: int, *, arrival_ns: int | None = None, every_s: int = 20, seconds: int = 60) -> Frame:
    """A minute of two tags; the value tells when."""
    time_ns = at_ns + np.arange(0, seconds, every_s) * NS
    n = len(time_ns)
    value = (time_ns - T0) // NS
    return Frame.of(
        np.repeat([1, 2], n),
        np.tile(time_ns, 2),
        np.tile(value, 2),
        np.zeros(2 * n),
        arrival_ns=int(time_ns[-1]) + NS if arrival_ns is None else arrival_ns,
    )


class Line:
    """A store that is open for writing, and what was appended to it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.store = EmbeddedStore.open(folder)
        self.store.register([Tag(PATHS[0], "bar"), Tag(PATHS[1], "1")])
        self.sent: list[Frame] = []

    def append(self, *frames: Frame) -> None:
        self.store.append(*frames)
        self.sent += frames

    def minutes(self, first: int, last: int, *, step: int = 1) -> None:
        self.append(*(scan(T0 + m * MINUTE_NS) for m in range(first, last, step)))

    def step(
        self,
        now_ns: int,
        held: Sequence[Window] = (),
        *,
        keep: Keep | None = None,
        disk: HostDisk | None = None,
        seal_all: bool = False,
    ) -> Kept:
        upkeep = Upkeep.open(self.folder, "line-1", keep or Keep(), disk=disk)
        try:
            return upkeep.step(now_ns, held, seal_all=seal_all)
        finally:
            upkeep.close()

    @property
    def manifest(self) -> Manifest:
        found = load_manifest(self.folder / "archive")
        assert found is not None
        return found

    def recent_rows(self) -> int:
        """How many frames recent.db holds."""
        recent = Recent.open(self.folder / "recent.db", write=False)
        rows = recent.rows_after(0, limit=100_000)
        recent.close()
        return sum(len(r.heads) for r in rows)

    def expected(self) -> Rows:
        """What was sent: of one tag and time the last."""
        last: dict[tuple[int, int], tuple[float, int]] = {}
        for f in self.sent:
            columns = (c.tolist() for c in (f.tag, f.time_ns, f.value, f.quality))
            last |= {(tag, t): (v, q) for tag, t, v, q in zip(*columns, strict=True)}
        return {
            path: sorted((t, v, q) for (tag, t), (v, q) in last.items() if tag == number)
            for number, path in enumerate(PATHS, 1)
        }

    def found(self) -> Rows:
        """What a reader in another process finds."""
        reader = EmbeddedStore.open(self.folder, mode="read")
        try:
            series = reader.read(PATHS, *EVER)
            assert reader.last_number() == len(self.sent)
        finally:
            reader.close()
        return {
            path: list(zip(s.time_ns.tolist(), s.value.tolist(), s.quality.tolist(), strict=True))
            for path, s in series.items()
        }
