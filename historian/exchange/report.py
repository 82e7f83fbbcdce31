"""What an import did, or would do."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from math import isnan
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from historian.exchange._clock import in_zone
from historian.tags import Tag
from historian.units import shown_unit

SHOWN = 20


@dataclass(frozen=True, slots=True)
class Reject:
    """Why a row, or a cell of it, was not taken.

    Attributes:
        line: of the file, from 1.
        reason: what is wrong and, where it helps, what to do.
    """

    line: int
    reason: str


@dataclass(slots=True)
class TagTotal:
    """What one tag gets from the file.

    Attributes:
        tag: as it is kept.
        samples: read from the file, gaps marked included.
        new: of these, not in the store before.
        replaced: of these, in place of another value at the same time.
        bad: of these, without a good quality.
        first_ns, last_ns: source time of the first and last, UTC nanoseconds.
        low, high: smallest and largest value in the tag's unit; NaN when there is none.
    """

    tag: Tag
    samples: int = 0
    new: int = 0
    replaced: int = 0
    bad: int = 0
    first_ns: int = 2**63 - 1
    last_ns: int = -(2**63)
    low: float = float("nan")
    high: float = float("nan")

    def take(self, time_ns: NDArray[np.int64], value: NDArray[np.float64], bad: int) -> None:
        """Count samples of the tag."""
        self.samples += len(time_ns)
        self.bad += bad
        self.first_ns = min(self.first_ns, int(time_ns.min()))
        self.last_ns = max(self.last_ns, int(time_ns.max()))
        self.low = float(np.fmin.reduce(value, initial=self.low))
        self.high = float(np.fmax.reduce(value, initial=self.high))


@dataclass(frozen=True, slots=True)
class Hole:
    """A stretch without rows.

    Attributes:
        start_ns, end_ns: the rows on both sides, UTC nanoseconds.
        period_ns: the usual distance of rows.
    """

    start_ns: int
    end_ns: int
    period_ns: int


@dataclass(slots=True)
class ImportReport:
    """What an import did, or, in a dry run, would do.

    Attributes:
        dry_run: whether nothing was written.
        zone: of the file's clock; times are shown in it.
        rows: of data in the file, blank lines not counted.
        tags: by path.
        repeated: samples that stand twice in the file with the same value; one of each is kept.
        overwritten: samples that a later row of the file gives another value at the same time; each is
            listed among the rejects.
        reject_count: how many rows and cells were not taken.
        rejects: the first thousand of them.
        rejects_path: where the lines are kept; None when there are none, or in a dry run.
        holes: longer than usual, first hundred; ``hole_count`` counts all.
        notes: what is worth a look: doubtful hours, columns and names without a tag.
    """

    dry_run: bool
    zone: ZoneInfo
    rows: int = 0
    tags: dict[str, TagTotal] = field(default_factory=dict)
    repeated: int = 0
    overwritten: int = 0
    reject_count: int = 0
    rejects: Sequence[Reject] = ()
    rejects_path: str | None = None
    holes: list[Hole] = field(default_factory=list)
    hole_count: int = 0
    notes: list[str] = field(default_factory=list)

    @property
    def samples(self) -> int:
        """Samples read from the file."""
        return sum(t.samples for t in self.tags.values())

    @property
    def new(self) -> int:
        """Samples that the store did not hold before."""
        return sum(t.new for t in self.tags.values())

    @property
    def replaced(self) -> int:
        """Samples that stand in place of another value of the store."""
        return sum(t.replaced for t in self.tags.values())

    def to_json(self) -> Mapping[str, object]:
        """The totals, for machines; times in UTC nanoseconds."""
        return {
            "dry_run": self.dry_run,
            "rows": self.rows,
            "samples": self.samples,
            "new": self.new,
            "replaced": self.replaced,
            "repeated": self.repeated,
            "overwritten": self.overwritten,
            "rejected": self.reject_count,
            "rejects": [{"line": r.line, "reason": r.reason} for r in self.rejects],
            "holes": self.hole_count,
            "notes": list(self.notes),
            "tags": {
                path: {"samples": t.samples, "new": t.new, "first_ns": t.first_ns, "last_ns": t.last_ns}
                for path, t in self.tags.items()
                if t.samples
            },
        }

    def lines(self) -> Iterator[str]:
        """The report as a person reads it."""
        yield from self._head()
        for path, total in self.tags.items():
            yield f"  {path}: {self._tag_line(total)}"
        if self.repeated:
            said = _count(self.repeated, "sample stands", "samples stand")
            yield f"{said} twice in the file, alike: kept once"
        if self.overwritten:
            said = _count(self.overwritten, "sample is", "samples are")
            yield f"{said} overwritten further down in the file: the last one counts"
        if self.hole_count:
            yield f"{_count(self.hole_count, 'stretch', 'stretches')} without rows:"
            for hole in self.holes[:SHOWN]:
                missing = (hole.end_ns - hole.start_ns) // max(hole.period_ns, 1) - 1
                yield f"  {self._between(hole.start_ns, hole.end_ns)}, about {_count(missing, 'row', 'rows')}"
            yield from _more(self.hole_count - SHOWN)
        yield from (f"note: {text}" for text in self.notes)
        if self.reject_count:
            kept = f"; kept in {self.rejects_path}" if self.rejects_path else ""
            yield f"{_count(self.reject_count, 'row or cell does', 'rows or cells do')} not fit{kept}:"
            yield from (f"  line {r.line}: {r.reason}" for r in self.rejects[:SHOWN])
            yield from _more(self.reject_count - SHOWN)

    def _head(self) -> Iterator[str]:
        rows = _count(self.rows, "row holds", "rows hold")
        there = self.samples - self.new - self.replaced
        if self.samples and there == self.samples:
            yield f"{rows} {_count(self.samples, 'sample', 'samples')}, all stored already: nothing to change"
            return
        said = f"{rows} {_count(self.samples, 'sample', 'samples')}: {self.new} {self._would('new')}"
        if self.replaced:
            said += f", {self.replaced} {self._would('put in place of a stored value')}"
        yield f"{said}, {there} stored already" if there else said

    def _would(self, what: str) -> str:
        return f"would be {what}" if self.dry_run else what

    def _tag_line(self, total: TagTotal) -> str:
        if not total.samples:
            return "no sample in the file"
        bad = f", {total.bad} of them not good" if total.bad else ""
        unit = "" if total.tag.unit == "1" else f" {shown_unit(total.tag.unit, total.tag.reference)}"
        values = "no value" if isnan(total.low) else f"{total.low:g} to {total.high:g}{unit}"
        there = self._between(total.first_ns, total.last_ns)
        return f"{_count(total.samples, 'sample', 'samples')}{bad}, {values}, {there}"

    def _between(self, start_ns: int, end_ns: int) -> str:
        start, end = (in_zone(t, self.zone).replace("T", " ").replace(".000", "") for t in (start_ns, end_ns))
        return f"{start} to {end}"


def _count(n: int, one: str, many: str) -> str:
    return f"{n} {one if n == 1 else many}"


def _more(left: int) -> Iterator[str]:
    if left > 0:
        yield f"  and {left} more"
