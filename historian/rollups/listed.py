"""The list of a line's rollup files as a value, and that value as checked JSON.

Layout, below ``FOLDER/rollups``::

    manifest.json                          what counts; replaced atomically, never edited
    minute/day=2026-03-29/00000012.parquet      a UTC day of one-minute rows
    hour/month=2026-03/00000012.parquet         a UTC month of one-hour rows

The number is the generation of the list that brought the file: no file is written twice. A row is one tag and
interval with at least one sample, sorted by tag number, then start; columns are those of
``historian.rollups.columns.Rollup`` under the same names, times as timestamps (UTC, in ms, µs or ns:
whichever is the coarsest that is exact); ``path`` is the tag's path. Any engine of Parquet reads them.

A file names the archive segments it was made from (``sources``: start, end, generation). Where the archive
holds a segment that no file names, the rollups there are behind, and a reader takes the raw samples. So a
crash between the archive's change and the rollups' costs speed until these are made again, and never truth.
When raw samples have gone at the end of their time, the rollups are the only copy; hence the check sums.
Each file repeats its entry, without size and check sum, under ``meltledger.rollup`` of its own metadata.
"""

from __future__ import annotations

import hashlib
import json
from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime
from typing import Any, Final

from historian.archive.manifest import DAY_NS, Segment, checksum_of
from historian.errors import StoredDataDamaged, WrongInput
from historian.frame import NS
from historian.rollups.columns import HOUR_NS, MINUTE_NS

FORMAT: Final = "meltledger-rollups"
VERSION: Final = 1
INTERVALS: Final = {"minute": MINUTE_NS, "hour": HOUR_NS}

Source = tuple[int, int, int]


@dataclass(frozen=True, slots=True)
class RollupFile:
    """One Parquet file of rollups.

    Attributes:
        path: relative to the folder of rollups, parts joined by ``/``.
        interval_ns: length of its intervals.
        start_ns, end_ns: the day or month that it stands for, [start, end), UTC nanoseconds.
        bytes, sha256: size and check sum of the whole file.
        rows, samples: how many rows, and how many samples they stand for.
        sources: (start, end, generation) of every archive segment that went in, rising.
    """

    path: str
    interval_ns: int
    start_ns: int
    end_ns: int
    bytes: int
    sha256: str
    rows: int
    samples: int
    sources: tuple[Source, ...]


@dataclass(frozen=True, slots=True)
class RollupList:
    """One state of a line's rollups.

    Attributes:
        generation: rises by one at every replacement.
        files: sorted by interval, then start; files of one interval do not overlap.
        retired: paths of superseded files that the next change deletes.
    """

    generation: int = 0
    files: tuple[RollupFile, ...] = ()
    retired: tuple[str, ...] = ()

    def between(self, interval_ns: int, start_ns: int, end_ns: int) -> tuple[RollupFile, ...]:
        """The files of an interval whose window meets [start, end), in order."""
        return tuple(
            f
            for f in self.files
            if f.interval_ns == interval_ns and f.start_ns < end_ns and f.end_ns > start_ns
        )

    def holds(self, segment: Segment, interval_ns: int) -> bool:
        """Whether the rollups of an interval were made from this very form of a segment."""
        wanted = source_of(segment)
        files = self.between(interval_ns, segment.start_ns, segment.end_ns)
        return bool(files) and all(wanted in f.sources for f in files)

    def behind(self, segments: Iterable[Segment], interval_ns: int) -> tuple[Segment, ...]:
        """The segments that are still to be rolled up."""
        return tuple(s for s in segments if not self.holds(s, interval_ns))

    def gone(
        self, interval_ns: int, segments: Sequence[Segment], start_ns: int, end_ns: int
    ) -> list[tuple[int, int]]:
        """The stretches of a window that were rolled up and whose samples are not there any more.

        Args:
            segments: all that the archive holds, by start.
        """
        starts = [s.start_ns for s in segments]
        found = []
        for file in self.between(interval_ns, start_ns, end_ns):
            for low, high, _ in file.sources:
                at = bisect_right(starts, low) - 1
                is_there = at >= 0 and segments[at].end_ns >= high
                if low < end_ns and high > start_ns and not is_there:
                    found.append((max(low, start_ns), min(high, end_ns)))
        return found

    def changed(self, new: Iterable[RollupFile], *, drop: Iterable[RollupFile] = ()) -> RollupList:
        """The next generation: new files come in place of those with the same window; ``drop`` goes."""
        coming = {(f.interval_ns, f.start_ns): f for f in new}
        going = set(drop) | {f for f in self.files if (f.interval_ns, f.start_ns) in coming}
        files = [*(f for f in self.files if f not in going), *coming.values()]
        return replace(
            self,
            generation=self.generation + 1,
            files=tuple(sorted(files, key=lambda f: (f.interval_ns, f.start_ns))),
            retired=tuple(sorted(f.path for f in going)),
        )

    def to_bytes(self) -> bytes:
        """The list's file."""
        body = {"format": FORMAT, "version": VERSION, **json.loads(json.dumps(asdict(self)))}
        return json.dumps(
            {**body, "checksum": checksum_of(body)}, sort_keys=True, ensure_ascii=False
        ).encode()

    @classmethod
    def from_bytes(cls, data: bytes, *, where: str) -> RollupList:
        """The list of a file's bytes.

        Raises:
            WrongInput: written by a newer release.
            StoredDataDamaged: not what ``to_bytes`` wrote; ``where`` names the file.
        """
        try:
            body = json.loads(data)
            told = body.pop("checksum")
            sound = body["format"] == FORMAT and told == checksum_of(body)
            version = int(body.pop("version"))
        except (ValueError, KeyError, TypeError, AttributeError):
            sound, body, version = False, {}, 0
        if not sound:
            raise StoredDataDamaged(f"{where}: the list of rollups does not match its check sum. {_REMEDY}")
        if version > VERSION:
            raise WrongInput(f"{where}: written by a newer meltledger (version {version}); update this one")
        return cls(body["generation"], tuple(_file(f) for f in body["files"]), tuple(body["retired"]))


def window_of(time_ns: int, interval_ns: int) -> tuple[int, int]:
    """The window of the file that holds a time: a UTC day of minutes, a UTC month of hours.

    Example:
        >>> window_of(1_774_742_400_000_000_000, HOUR_NS) == (1_772_323_200 * NS, 1_775_001_600 * NS)
        True
    """
    day = time_ns // DAY_NS * DAY_NS
    if interval_ns < HOUR_NS:
        return day, day + DAY_NS
    first = datetime.fromtimestamp(day // NS, UTC).replace(day=1)
    after = first.replace(year=first.year + first.month // 12, month=first.month % 12 + 1)
    return int(first.timestamp()) * NS, int(after.timestamp()) * NS


def path_of(start_ns: int, interval_ns: int, generation: int) -> str:
    """Where the file of a window stands below the folder of rollups.

    Example:
        >>> path_of(1_774_742_400_000_000_000, MINUTE_NS, 12)
        'minute/day=2026-03-29/00000012.parquet'
    """
    day = datetime.fromtimestamp(start_ns // NS, UTC)
    part = f"minute/day={day:%Y-%m-%d}" if interval_ns < HOUR_NS else f"hour/month={day:%Y-%m}"
    return f"{part}/{generation:08}.parquet"


def source_of(segment: Segment) -> Source:
    """What names one form of a segment."""
    return segment.start_ns, segment.end_ns, segment.generation


def sha256_of(data: bytes) -> str:
    """Check sum of a whole file, as it stands in the list."""
    return hashlib.sha256(data).hexdigest()


def _file(data: dict[str, Any]) -> RollupFile:
    sources = tuple((int(a), int(b), int(g)) for a, b, g in data["sources"])
    return RollupFile(**{**data, "sources": sources})


_REMEDY = "Rollups are made again from the raw samples; copy the folder away first"
