"""What the archive holds: the list of its segments as a value, and that value as checked JSON."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, replace
from enum import StrEnum
from itertools import pairwise
from typing import Any, Final

from historian.errors import StoredDataDamaged, WrongInput
from historian.frame import NS

FORMAT: Final = "meltledger-archive"
VERSION: Final = 1
NAME: Final = "manifest.json"
HOUR_NS: Final = 3_600 * NS
DAY_NS: Final = 86_400 * NS


class Level(StrEnum):
    """How long a segment's window is."""

    HOUR = "hour"
    DAY = "day"

    @property
    def span_ns(self) -> int:
        """Length of the window in nanoseconds."""
        return HOUR_NS if self is Level.HOUR else DAY_NS


class Kind(StrEnum):
    """What a segment's file holds; see ``historian.archive``."""

    WIDE = "wide"
    LONG = "long"
    FRAMES = "frames"
    AUDIT = "audit"


@dataclass(frozen=True, slots=True)
class FileEntry:
    """One Parquet file of a segment.

    Attributes:
        path: relative to the archive's folder, parts joined by ``/``.
        kind: what it holds.
        bytes, sha256: size and check sum of the whole file.
        rows, samples: how many of each; a wide row holds a sample for each tag with a quality.
        first_ns, last_ns: oldest and newest source time (of a frames file: those of the segment).
        first_seq, last_seq: lowest and highest arrival number.
        tags: tag numbers, rising; empty for a frames file.
    """

    path: str
    kind: Kind
    bytes: int
    sha256: str
    rows: int
    samples: int
    first_ns: int
    last_ns: int
    first_seq: int
    last_seq: int
    tags: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Segment:
    """All that the archive holds of one window [start_ns, end_ns) of source time."""

    level: Level
    start_ns: int
    end_ns: int
    generation: int
    samples: int
    files: tuple[FileEntry, ...]

    def of_kind(self, *kinds: Kind) -> tuple[FileEntry, ...]:
        """Its files of these kinds."""
        return tuple(f for f in self.files if f.kind in kinds)


@dataclass(frozen=True, slots=True)
class Manifest:
    """One state of the archive.

    Attributes:
        line: the line's name.
        generation: rises by one at every replacement; 0 for an archive that holds nothing yet.
        sealed_seq: every frame up to this arrival number is in the segments.
        segments: sorted by start; windows do not overlap.
        retired: paths of the files that this generation superseded; they are deleted once it stands.
    """

    line: str
    generation: int = 0
    sealed_seq: int = 0
    segments: tuple[Segment, ...] = ()
    retired: tuple[str, ...] = ()

    def between(self, start_ns: int, end_ns: int) -> tuple[Segment, ...]:
        """The segments whose window meets [start, end), in order."""
        return tuple(s for s in self.segments if s.start_ns < end_ns and s.end_ns > start_ns)

    def files(self) -> tuple[FileEntry, ...]:
        """Every file of every segment."""
        return tuple(f for s in self.segments for f in s.files)

    def changed(
        self, new: Iterable[Segment], *, drop: Iterable[Segment] = (), sealed_seq: int | None = None
    ) -> Manifest:
        """The next generation: ``new`` segments come in, what they cover and what is to ``drop`` goes.

        Raises:
            WrongInput: a new segment would cover another only in part.
        """
        coming = tuple(new)
        going = set(drop) | {s for s in self.segments for n in coming if _covers(n, s)}
        stays = [s for s in self.segments if s not in going]
        segments = tuple(sorted([*stays, *coming], key=lambda s: s.start_ns))
        for a, b in pairwise(segments):
            if a.end_ns > b.start_ns:
                raise WrongInput(
                    f"two segments overlap: {a.level} at {a.start_ns}, {b.level} at {b.start_ns}"
                )
        kept = {f.path for s in segments for f in s.files}
        retired = tuple(sorted(f.path for s in going for f in s.files if f.path not in kept))
        return replace(
            self,
            generation=self.generation + 1,
            sealed_seq=self.sealed_seq if sealed_seq is None else max(sealed_seq, self.sealed_seq),
            segments=segments,
            retired=retired,
        )

    def to_bytes(self) -> bytes:
        """The manifest's file."""
        body = {"format": FORMAT, "version": VERSION, **asdict(self)}
        return _canonical({**body, "checksum": checksum_of(body)})

    @classmethod
    def from_bytes(cls, data: bytes, *, where: str) -> Manifest:
        """The manifest of a file's bytes.

        Raises:
            WrongInput: written by a newer release.
            StoredDataDamaged: not what ``to_bytes`` wrote; ``where`` names the file.
        """
        try:
            body = json.loads(data)
            told = body.pop("checksum")
            sound = body.pop("format") == FORMAT and told == checksum_of({"format": FORMAT, **body})
            version = int(body.pop("version"))
        except (ValueError, KeyError, TypeError, AttributeError) as error:
            raise StoredDataDamaged(_DAMAGED.format(where=where)) from error
        if not sound:
            raise StoredDataDamaged(_DAMAGED.format(where=where))
        if version > VERSION:
            raise WrongInput(f"{where}: written by a newer meltledger (version {version}); update this one")
        segments = tuple(_segment(s) for s in body.pop("segments"))
        return cls(**{**body, "segments": segments, "retired": tuple(body["retired"])})


def checksum_of(body: Mapping[str, Any]) -> str:
    """SHA-256 of an object as canonical JSON."""
    return hashlib.sha256(_canonical(body)).hexdigest()


def window_of(time_ns: int, level: Level) -> tuple[int, int]:
    """The UTC hour or day that a time lies in, as [start, end).

    Example:
        >>> window_of(7_200_000_000_001, Level.HOUR)
        (7200000000000, 10800000000000)
    """
    start = time_ns // level.span_ns * level.span_ns
    return start, start + level.span_ns


def _covers(new: Segment, old: Segment) -> bool:
    return new.start_ns <= old.start_ns and old.end_ns <= new.end_ns


def _segment(data: Mapping[str, Any]) -> Segment:
    files = tuple(
        FileEntry(**{**f, "kind": Kind(f["kind"]), "tags": tuple(f["tags"])}) for f in data["files"]
    )
    return Segment(**{**data, "level": Level(data["level"]), "files": files})


def _canonical(body: Mapping[str, Any]) -> bytes:
    return json.dumps(body, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()


_DAMAGED = (
    "{where}: the list of segments does not match its check sum; the segments themselves may be sound. "
    "Copy the folder away, then run `meltledger doctor`"
)
