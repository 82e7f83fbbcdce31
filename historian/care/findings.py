"""What can be found wrong with a store's folder, and what was seen on the disk to judge it by."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from historian.archive.manifest import Manifest
from historian.rollups.listed import RollupList


class Trouble(StrEnum):
    """Kinds of findings; the last four are notes: nothing that was kept is in danger."""

    LIST = "list"  # a list of segments or rollups is lost or damaged
    MISSING = "missing"  # a listed file is not there
    DAMAGED = "damaged"  # a listed file or a row is not what was written
    OVERLAP = "overlap"  # two segments hold the same time
    NUMBERS = "numbers"  # frames are missing between arrival numbers
    UNSEALED = "unsealed"  # closed hours that are not in segments yet
    DUE = "due"  # closed hours of a line that does not run
    BEHIND = "behind"  # segments that are not rolled up yet
    HOLE = "hole"  # hours inside the record without a sample
    LEFTOVER = "leftover"  # files that no list names

    @property
    def is_note(self) -> bool:
        """Whether it is only worth knowing."""
        return self in (Trouble.DUE, Trouble.BEHIND, Trouble.HOLE, Trouble.LEFTOVER)


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that is not as it should be.

    Attributes:
        trouble: what kind.
        where: the file, below the store's folder, or the row.
        text: a sentence for a person: what it is, and what becomes of it.
        start_ns, end_ns: the source time that it touches, [start, end), UTC nanoseconds; None: none or all.
    """

    trouble: Trouble
    where: str
    text: str
    start_ns: int | None = None
    end_ns: int | None = None

    def to_json(self) -> dict[str, Any]:
        """As JSON types."""
        return {
            "trouble": str(self.trouble),
            "note": self.trouble.is_note,
            "where": self.where,
            "text": self.text,
            "start_ns": self.start_ns,
            "end_ns": self.end_ns,
        }


@dataclass(frozen=True, slots=True)
class FileFact:
    """A file as it is: size and check sum."""

    bytes: int
    sha256: str


@dataclass(frozen=True, slots=True)
class RowFact:
    """A row of ``recent.db`` as it is; ``fault`` says why it cannot be decoded, empty when it can."""

    first_seq: int
    seq: int
    first_ns: int
    last_ns: int
    arrival_ns: int
    samples: int
    fault: str = ""


@dataclass(frozen=True, slots=True)
class Facts:
    """All that was seen of a store's folder.

    Attributes:
        manifest, rollups: the lists; None when they are not there or cannot be trusted.
        manifest_fault, rollups_fault: why a list cannot be trusted; empty when it is sound or not there.
        archive_files, rollup_files: every file below those folders, but for the lists, by path with ``/``.
        rows: the rows of ``recent.db`` in order of arrival.
        passed_over: the arrival numbers from which a ``recent.db`` that was made anew goes on.
        recent_fault: why ``recent.db`` cannot be read as a whole; empty when it can.
        tags_fault: why the list of tags cannot be trusted; empty when it is sound or not there.
    """

    manifest: Manifest | None = None
    manifest_fault: str = ""
    archive_files: Mapping[str, FileFact] = field(default_factory=dict)
    rollups: RollupList | None = None
    rollups_fault: str = ""
    rollup_files: Mapping[str, FileFact] = field(default_factory=dict)
    rows: tuple[RowFact, ...] = ()
    passed_over: frozenset[int] = frozenset()
    recent_fault: str = ""
    tags_fault: str = ""
