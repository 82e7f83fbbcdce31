"""The newest sample of each tag, followed frame by frame."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final, Self

import numpy as np

from historian.errors import StoredDataDamaged
from historian.frame import Frame
from historian.store import Sample

_NEVER: Final = np.iinfo(np.int64).min
_ROW: Final = np.dtype([("time_ns", "<i8"), ("value", "<f8"), ("quality", "<u4"), ("arrival_ns", "<i8")])
_SPARE: Final = 64


class Newest:
    """The sample with the newest source time of each tag; of equal times the one that arrived last.

    Attributes:
        seq: arrival number of the last frame that was taken.
    """

    def __init__(self, seq: int = 0) -> None:
        self.seq = seq
        self._rows = np.zeros(0, dtype=_ROW)

    @classmethod
    def of(cls, seq: int, samples: Mapping[int, Sample]) -> Self:
        """From what is known by tag number."""
        found = cls(seq)
        found._grow(max(samples, default=-1) + 1)
        for number, sample in samples.items():
            found._rows[number] = (sample.time_ns, sample.value, sample.quality, sample.arrival_ns)
        return found

    @classmethod
    def from_bytes(cls, seq: int, data: bytes, *, where: str) -> Self:
        """From what ``to_bytes`` gave.

        Raises:
            StoredDataDamaged: it is something else; ``where`` names the place.
        """
        if len(data) % _ROW.itemsize:
            raise StoredDataDamaged(f"{where}: the newest samples are cut off; run `meltledger doctor`")
        found = cls(seq)
        found._rows = np.frombuffer(data, dtype=_ROW).copy()
        return found

    def to_bytes(self) -> bytes:
        """All of it, for the disk."""
        return self._rows.tobytes()

    def take(self, seq: int, frame: Frame) -> None:
        """Follow one more frame."""
        self.seq = seq
        if len(frame) == 0:
            return
        ends = np.flatnonzero(np.append(frame.tag[1:] != frame.tag[:-1], True))
        tag = frame.tag[ends]
        if tag[-1] >= len(self._rows):
            self._grow(int(tag[-1]) + _SPARE)
        newer = frame.time_ns[ends] >= self._rows["time_ns"][tag]
        ends, tag = ends[newer], tag[newer]
        for name in ("time_ns", "value", "quality"):
            self._rows[name][tag] = getattr(frame, name)[ends]
        self._rows["arrival_ns"][tag] = frame.arrival_ns

    def sample(self, number: int) -> Sample | None:
        """A tag's newest sample; None when it has none."""
        if number >= len(self._rows) or self._rows["time_ns"][number] == _NEVER:
            return None
        time_ns, value, quality, arrival_ns = self._rows[number].tolist()
        return Sample(time_ns, value, quality, arrival_ns)

    def without(self, windows: Sequence[tuple[int, int]]) -> Self:
        """The same, but for samples whose time lies in one of the windows [start, end)."""
        rows = self._rows.copy()
        for low, high in windows:
            gone = (rows["time_ns"] >= low) & (rows["time_ns"] < high)
            rows["time_ns"][gone], rows["value"][gone] = _NEVER, np.nan
            rows["quality"][gone] = rows["arrival_ns"][gone] = 0
        return self.from_bytes(self.seq, rows.tobytes(), where="")

    @property
    def arrival_ns(self) -> int:
        """When the latest of them arrived; 0 when there is none."""
        there = self._rows["time_ns"] != _NEVER
        return int(self._rows["arrival_ns"][there].max(initial=0))

    def _grow(self, size: int) -> None:
        if size > len(self._rows):
            more = np.zeros(size - len(self._rows), dtype=_ROW)
            more["time_ns"], more["value"] = _NEVER, np.nan
            self._rows = np.append(self._rows, more)
