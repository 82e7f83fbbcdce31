"""The seal of a closed trial: hashes by which anybody can tell whether record or samples were changed since.

What is hashed is what was recorded, not the files in which it lies, for those are compacted and moved: of the
record, its entries in the order of writing as canonical JSON; of the samples, for each tag in the order of
their paths, its path and unit and then time, value and quality of every sample in the order of time.

Bytes: SHA-256; text as UTF-8 with a zero byte behind it; time as 64-bit integer, UTC nanoseconds; value as
IEEE 754 double, every NaN as the one quiet NaN and no negative zero; quality as 32-bit integer; all little
endian. A tag's samples are hashed as three columns, one after the other for each lot of 2^16 samples.

Pure.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from historian.frame import Series
from trials.record.entries import Entry, What

FORM: Final = "meltledger seal 1"
_LOT: Final = 1 << 16


@dataclass(frozen=True, slots=True)
class TagSeal:
    """A tag's samples: how many, and their hash."""

    samples: int
    sha256: str


@dataclass(frozen=True, slots=True)
class Seal:
    """A trial's seal.

    Attributes:
        record: of the entries, as hexadecimal digits.
        upto: number of the last entry that it covers.
        tags: path → its samples.
    """

    record: str
    upto: int
    tags: Mapping[str, TagSeal]

    @property
    def sha256(self) -> str:
        """One hash over all, to be printed on the report."""
        lines = [FORM, self.record, *(f"{p} {t.samples} {t.sha256}" for p, t in sorted(self.tags.items()))]
        return hashlib.sha256("\n".join(lines).encode()).hexdigest()

    def to_json(self) -> dict[str, Any]:
        """As JSON types, with which it is kept."""
        tags = {p: [t.samples, t.sha256] for p, t in sorted(self.tags.items())}
        return {
            "form": FORM, "sha256": self.sha256, "record": self.record, "upto": self.upto, "tags": tags
        }  # fmt: skip

    @classmethod
    def from_json(cls, kept: Mapping[str, Any]) -> Seal:
        """What ``to_json`` gave."""
        tags = {p: TagSeal(int(n), str(sha)) for p, (n, sha) in kept["tags"].items()}
        return cls(str(kept["record"]), int(kept["upto"]), tags)


def sealed(
    trial: Mapping[str, Any],
    entries: Iterable[Entry],
    tags: Mapping[str, TagSeal],
    *,
    upto: int | None = None,
) -> Seal:
    """The seal of a trial.

    Args:
        trial: name, customer, start and end, JSON types.
        entries: all that were written of it; seals are left out.
        upto: number of the last entry that it covers, to look at an earlier seal again; all when left out.
    """
    listed = [e for e in sorted(entries, key=lambda e: e.id) if e.what is not What.SEALED]
    listed = [e for e in listed if upto is None or e.id <= upto]
    return Seal(record_hash(trial, listed), listed[-1].id if listed else 0, dict(tags))


def record_hash(trial: Mapping[str, Any], entries: Iterable[Entry]) -> str:
    """Of a trial's entries, in the order of writing."""
    hashed = hashlib.sha256()
    for one in (dict(trial), *(e.to_json() for e in entries)):
        text = json.dumps(one, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
        hashed.update(text.encode() + b"\0")
    return hashed.hexdigest()


def tag_seal(path: str, unit: str, pieces: Iterable[Series]) -> TagSeal:
    """Of a tag's samples.

    Args:
        pieces: the samples in the order of time, cut anywhere: the hash does not depend on it.
    """
    hashed, count = hashlib.sha256(), 0
    hashed.update(path.encode() + b"\0" + unit.encode() + b"\0")
    for lot in _lots(pieces):
        value = np.where(np.isnan(lot.value), np.nan, lot.value) + 0.0
        for column, kind in ((lot.time_ns, "<i8"), (value, "<f8"), (lot.quality, "<u4")):
            hashed.update(np.ascontiguousarray(column, dtype=kind).tobytes())
        count += len(lot)
    return TagSeal(count, hashed.hexdigest())


def differences(kept: Seal, now: Seal) -> list[str]:
    """What is no longer as it was sealed, a sentence each; none: all is as it was.

    More samples of a tag are an addendum that came later; they are told too, for the hash cannot know them.
    """
    told = []
    if kept.record != now.record:
        told.append("The record up to the seal is not as it was sealed.")
    for path in sorted(kept.tags.keys() | now.tags.keys()):
        before, after = kept.tags.get(path, TagSeal(0, "")), now.tags.get(path, TagSeal(0, ""))
        if after.samples > before.samples:
            told.append(f"{path}: {after.samples - before.samples} samples came after the seal.")
        elif after.samples < before.samples:
            told.append(f"{path}: {before.samples - after.samples} samples are missing.")
        elif before.sha256 != after.sha256:
            told.append(f"{path}: as many samples as were sealed, but not the same ones.")
    return told


def _lots(pieces: Iterable[Series]) -> Iterator[Series]:
    """The samples in lots of one size, wherever they were cut."""
    waiting: list[Series] = []
    held = 0
    for piece in pieces:
        waiting.append(piece)
        held += len(piece)
        while held >= _LOT:
            whole = _joined(waiting)
            yield _part(whole, 0, _LOT)
            waiting = [_part(whole, _LOT, len(whole))]
            held -= _LOT
    if held:
        yield _joined(waiting)


def _joined(pieces: list[Series]) -> Series:
    return Series(
        np.concatenate([p.time_ns for p in pieces]),
        np.concatenate([p.value for p in pieces]),
        np.concatenate([p.quality for p in pieces]),
    )


def _part(whole: Series, first: int, last: int) -> Series:
    return Series(whole.time_ns[first:last], whole.value[first:last], whole.quality[first:last])
