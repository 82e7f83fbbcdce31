"""What a row of recent.db holds: one frame or several, as a head for each, then the columns of all of them.

The columns of all frames stand one after the other, so that many rows decode without a loop over samples.
Rows are written in the second form, in which a column that repeats itself is short; the first one, whose
columns are whole, is still read.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from historian.embedded.repeating import Column, Form, first_return, first_run, short, size_byte, whole
from historian.errors import StoredDataDamaged
from historian.frame import Frame, Qualities, TagIds, Times, Values

_FIRST: Final = b"mlf1"
_SECOND: Final = b"mlf2"
_HEAD = struct.Struct("<4sIII")  # magic, crc32 of the rest, frames, samples
_FRAME = np.dtype([("arrival_ns", "<i8"), ("clock_epoch", "<i4"), ("samples", "<i4")])
_TAG, _TIME = np.dtype("<i4"), np.dtype("<i8")
_VALUE, _QUALITY = np.dtype("<f8"), np.dtype("<u4")
_WHOLE_ORDER: Final[tuple[np.dtype[Any], ...]] = (_TAG, _TIME, _VALUE, _QUALITY)
# Behind the heads; the long numbers first, so that they lie where a processor likes them.
_SHORT_ORDER: Final[tuple[np.dtype[Any], ...]] = (_TIME, _VALUE, _TAG, _QUALITY)
_FORMS = struct.Struct("<" + "II" * len(_SHORT_ORDER))  # form and how many numbers, of each column


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
    tag = _joined([f.tag for f in frames], _TAG)
    time_ns = _joined([f.time_ns for f in frames], _TIME)
    value = _joined([f.value for f in frames], _VALUE)
    quality = _joined([f.quality for f in frames], _QUALITY)
    columns = (
        short(time_ns, first_run(tag)),  # tag after tag the times of the same scans
        (Form.WHOLE, len(value), [value]),  # what is measured seldom repeats itself
        short(tag, first_return(tag)),
        short(quality, 0),
    )
    forms = _FORMS.pack(*(number for form, numbers, _ in columns for number in (form, numbers)))
    written = (part.view(np.uint8).data for _, _, parts in columns for part in parts)
    parts: list[bytes | memoryview] = [forms, heads.tobytes(), *written]
    crc = 0
    for part in parts:
        crc = zlib.crc32(part, crc)
    return b"".join([_HEAD.pack(_SECOND, crc, len(frames), len(tag)), *parts])


def _joined(columns: Sequence[Column], dtype: np.dtype[Any]) -> Column:
    column = columns[0] if len(columns) == 1 else np.concatenate(columns)
    return np.ascontiguousarray(column, dtype)


def decode(body: bytes, first_seq: int, seq: int, *, where: str) -> Row:
    """The row of a body.

    Raises:
        StoredDataDamaged: the body is not what ``encode`` wrote; ``where`` names the place.
    """
    try:
        magic, crc, frames, samples = _HEAD.unpack_from(body)
        if magic not in (_FIRST, _SECOND) or zlib.crc32(memoryview(body)[_HEAD.size :]) != crc:
            raise ValueError("not the sum of what is there")
        made = _from_second if magic == _SECOND else _from_first
        heads, tag, time_ns, value, quality = made(body, frames, samples)
    except (struct.error, ValueError):
        raise StoredDataDamaged(
            f"{where}: the row's check sum does not match; the other rows are readable. "
            "Copy the store's folder away before anything else is tried"
        ) from None
    return Row(first_seq, seq, heads, tag, time_ns, value, quality)


def _from_first(body: bytes, frames: int, samples: int) -> tuple[Column, ...]:
    """Heads, tags, times, values and qualities; ValueError when they are not so long."""
    return _columns(body, _HEAD.size, frames, samples, [(Form.WHOLE, samples, d) for d in _WHOLE_ORDER])


def _from_second(body: bytes, frames: int, samples: int) -> tuple[Column, ...]:
    said = _FORMS.unpack_from(body, _HEAD.size)
    written = list(zip(said[::2], said[1::2], _SHORT_ORDER, strict=True))
    heads, time_ns, value, tag, quality = _columns(body, _HEAD.size + _FORMS.size, frames, samples, written)
    return heads, tag, time_ns, value, quality


def _columns(
    body: bytes, at: int, frames: int, samples: int, written: Sequence[tuple[int, int, np.dtype[Any]]]
) -> tuple[Column, ...]:
    ends = [at + frames * _FRAME.itemsize]
    for form, numbers, dtype in written:
        ends.append(ends[-1] + size_byte(form, numbers, dtype))
    if len(body) != ends[-1]:
        raise ValueError("not as long as it says")
    heads = np.frombuffer(body, _FRAME, frames, at)
    return heads, *(
        whole(body, begin, form, numbers, dtype, samples)
        for begin, (form, numbers, dtype) in zip(ends[:-1], written, strict=True)
    )
