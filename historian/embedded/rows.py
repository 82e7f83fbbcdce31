"""What a row of recent.db holds: one frame or several, as a head for each, then the columns of all of them.

The columns of all frames stand one after the other, so that many rows decode without a loop over samples.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from historian.errors import StoredDataDamaged
from historian.frame import Frame, Qualities, TagIds, Times, Values

_MAGIC = b"mlf1"
_HEAD = struct.Struct("<4sIII")  # magic, crc32 of the rest, frames, samples
_FRAME = np.dtype([("arrival_ns", "<i8"), ("clock_epoch", "<i4"), ("samples", "<i4")])
_COLUMNS = (("tag", "<i4"), ("time_ns", "<i8"), ("value", "<f8"), ("quality", "<u4"))
_SAMPLE_BYTES = 24


@dataclass(frozen=True, slots=True)
class Row:
    """One row of the table, decoded: the columns of all its frames, one frame after the other.

    Attributes:
        first_seq, seq: arrival numbers of the first and the last frame.
        heads: arrival, clock epoch and number of samples of each frame.
    """

    first_seq: int
    seq: int
    heads: NDArray[np.void]
    tag: TagIds
    time_ns: Times
    value: Values
    quality: Qualities

    def frames(self) -> Iterator[tuple[int, Frame]]:
        """Each frame with its arrival number."""
        edges = np.concatenate(([0], np.cumsum(self.heads["samples"]))).tolist()
        for place, (head, (a, b)) in enumerate(zip(self.heads, pairwise(edges), strict=True)):
            columns = (self.tag[a:b], self.time_ns[a:b], self.value[a:b], self.quality[a:b])
            yield self.first_seq + place, Frame(*columns, int(head["arrival_ns"]), int(head["clock_epoch"]))

    def numbers(self) -> NDArray[np.int64]:
        """The arrival number of each sample's frame."""
        return self.first_seq + np.repeat(np.arange(len(self.heads), dtype=np.int64), self.heads["samples"])


def encode(frames: Sequence[Frame]) -> bytes:
    """The body of a row that holds these frames."""
    heads = np.empty(len(frames), dtype=_FRAME)
    heads["arrival_ns"] = [f.arrival_ns for f in frames]
    heads["clock_epoch"] = [f.clock_epoch for f in frames]
    heads["samples"] = [len(f) for f in frames]
    rest = heads.tobytes() + b"".join(
        np.concatenate([getattr(f, name) for f in frames]).astype(dtype, copy=False).tobytes()
        for name, dtype in _COLUMNS
    )
    return _HEAD.pack(_MAGIC, zlib.crc32(rest), len(frames), int(heads["samples"].sum())) + rest


def decode(body: bytes, first_seq: int, seq: int, *, where: str) -> Row:
    """The row of a body.

    Raises:
        StoredDataDamaged: the body is not what ``encode`` wrote; ``where`` names the place.
    """
    try:
        magic, crc, frames, samples = _HEAD.unpack_from(body)
    except struct.error:
        magic, crc, frames, samples = b"", 0, 0, 0
    expected = _HEAD.size + frames * _FRAME.itemsize + samples * _SAMPLE_BYTES
    if magic != _MAGIC or len(body) != expected or zlib.crc32(memoryview(body)[_HEAD.size :]) != crc:
        raise StoredDataDamaged(
            f"{where}: the row's check sum does not match; the other rows are readable. "
            "Copy the store's folder away before anything else is tried"
        )
    at = _HEAD.size + frames * _FRAME.itemsize
    return Row(
        first_seq,
        seq,
        np.frombuffer(body, _FRAME, frames, _HEAD.size),
        np.frombuffer(body, np.int32, samples, at),
        np.frombuffer(body, np.int64, samples, at + 4 * samples),
        np.frombuffer(body, np.float64, samples, at + 12 * samples),
        np.frombuffer(body, np.uint32, samples, at + 20 * samples),
    )
