"""A small line for the archive's tests, and the slow, plain way to say what a store must give back."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np
from hypothesis import strategies as st

from historian import NS, Frame, Series, Tag
from historian.archive.disk import Disk
from historian.archive.manifest import Manifest
from historian.archive.reader import ArchiveReader
from historian.archive.writer import ArchiveWriter

HOUR = 3_600 * NS
DAY = 24 * HOUR
START = 20_000 * DAY  # midnight UTC, 2024-10-04
TAGS = {
    n: Tag(path, "bar", id=n)
    for n, path in enumerate(
        (
            "filter.inlet.pressure.pv",
            "filter.outlet.pressure.pv",
            "die.pressure.pv",
            "line.state",
            "room.temp.pv",
        ),
        1,
    )
}
EVER = (START - 100 * DAY, START + 100 * DAY)
Numbered = list[tuple[int, Frame]]


def frame(rows: Iterable[tuple[int, int, float, int]], *, arrival_ns: int, epoch: int = 0) -> Frame:
    """A frame of (tag, source time, value, quality)."""
    listed = list(rows)
    columns = [[r[k] for r in listed] for k in range(4)]
    return Frame.of(*columns, arrival_ns=arrival_ns, clock_epoch=epoch)


def scans(
    first: int, count: int, *, every_s: int = 1, tags: Sequence[int] = (1, 2, 3), at: int = START
) -> Numbered:
    """Numbered frames of one scan each, values exact decimals, arrival a little after."""
    found = []
    for k in range(count):
        time_ns = at + k * every_s * NS + 3_000_000
        rows = [(t, time_ns, round(100 * t + 5 * math.sin(k / 50 + t), 1), 0) for t in tags]
        found.append((first + k, frame(rows, arrival_ns=time_ns + 12_345_678)))
    return found


def slow(frames: Numbered) -> dict[int, list[tuple[int, int, float | None, int]]]:
    """For each tag what must be read: (time, seq, value, quality), sorted; the last write of a double stays."""
    last: dict[tuple[int, int, int], tuple[int, float | None, int]] = {}
    for seq, f in frames:
        for tag, time_ns, value, quality in zip(
            *(c.tolist() for c in (f.tag, f.time_ns, f.value, f.quality)), strict=True
        ):
            last[tag, time_ns, f.clock_epoch] = (seq, None if math.isnan(value) else value, quality)
    found: dict[int, list[tuple[int, int, float | None, int]]] = {}
    for (tag, time_ns, epoch), (seq, value, quality) in last.items():
        twice = any((tag, time_ns, e) in last for e in range(4) if e != epoch)
        uncertain = quality | 0x4000_0000 if twice and quality >> 30 == 0 else quality
        found.setdefault(tag, []).append((time_ns, seq, value, uncertain))
    return {tag: sorted(rows, key=lambda r: r[:2]) for tag, rows in found.items()}


def held(root: Path) -> dict[int, list[tuple[int, int, float | None, int]]]:
    """Everything the archive gives back, in the form of ``slow``."""
    reader = ArchiveReader(root)
    found = reader.columns(sorted(TAGS), *EVER)
    return {
        tag: [
            (t, s, None if math.isnan(v) else v, q)
            for t, s, v, q in zip(*(k.tolist() for k in (c.time_ns, c.seq, c.value, c.quality)), strict=True)
        ]
        for tag, c in found.items()
        if len(c)
    }


def sealed(root: Path, frames: Numbered, *, disk: Disk | None = None) -> ArchiveWriter:
    """A writer that has taken in the frames."""
    writer = ArchiveWriter.open(root, "line 1", disk=disk)
    writer.seal(frames, TAGS)
    return writer


def sound(root: Path, manifest: Manifest) -> bool:
    """Whether every file of the manifest is there with its size and check sum."""
    import hashlib

    bodies = ((f, (root / f.path).read_bytes()) for f in manifest.files())
    return all(len(b) == f.bytes and hashlib.sha256(b).hexdigest() == f.sha256 for f, b in bodies)


def alike(a: Series, b: Series) -> None:
    """Fails unless two series are the same, bit for bit."""
    np.testing.assert_array_equal(a.time_ns, b.time_ns)
    np.testing.assert_array_equal(a.value, b.value)
    np.testing.assert_array_equal(a.quality, b.quality)


_TIMES = st.one_of(
    st.integers(0, 30).map(lambda k: START + k * NS),
    st.integers(0, 60).map(lambda k: START + k * 20 * 60 * NS),
    st.integers(START - 2 * DAY, START + 2 * DAY),
)
_VALUES = st.one_of(st.integers(-50, 50).map(lambda k: k / 10), st.floats(), st.just(-0.0), st.just(1e300))
_QUALITIES = st.sampled_from([0, 0, 0, 0x4090_0000, 0x8000_0000, 0x809B_0000, 0xFFFF_FFFF, 0x0000_0400])
_ROWS = st.lists(st.tuples(st.integers(1, 5), _TIMES, _VALUES, _QUALITIES), min_size=1, max_size=12)


@st.composite
def any_frames(draw: st.DrawFn) -> Numbered:
    """Numbered frames in order of arrival: late, repeated and colliding samples, odd values, three clock epochs."""
    bodies = draw(st.lists(_ROWS, min_size=1, max_size=8))
    epochs = sorted(draw(st.lists(st.integers(0, 2), min_size=len(bodies), max_size=len(bodies))))
    return [
        (k, frame(rows, arrival_ns=START + k * 7_654_321, epoch=epoch))
        for k, (rows, epoch) in enumerate(zip(bodies, epochs, strict=True), 1)
    ]
