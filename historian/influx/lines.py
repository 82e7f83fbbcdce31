"""Frames and tags as line protocol. Pure.

Source: the line protocol of InfluxDB: ``measurement,tag=text field=1.5,other=3i time``; in tag values comma,
space and equals sign are escaped by a backslash, in text fields the double quote and the backslash.
"""

from __future__ import annotations

import base64
import json
import zlib
from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from historian.embedded.rows import encode
from historian.frame import Frame, Qualities, TagIds, Times, Values
from historian.quality import is_bad
from historian.tags import Tag

NO_VALUE: Final = 0
NUMBER: Final = 1
PLUS_INFINITY: Final = 2
MINUS_INFINITY: Final = 3
HELD: Final = 4

_TEXT_LIMIT: Final = 60_000  # characters of a body in one point; a text field takes 64 KB


class Numbered(NamedTuple):
    """A frame with its place in the order of arrival.

    Attributes:
        number: arrival number.
        key_ns: time of its point, UTC nanoseconds; rises with the number.
    """

    number: int
    key_ns: int
    frame: Frame


def sample_lines(frames: Sequence[Numbered], line: str, paths: Mapping[int, str]) -> list[str]:
    """A line a sample, by tag, clock epoch and time; of doubles only the last one.

    What a server makes of two points with one key in one request is its own affair, so it gets one.

    Args:
        paths: tag number → path, for every tag in the frames.
    """
    tag, epoch, time_ns, value, quality, arrival, number = _last_writes(frames)
    if len(tag) == 0:
        return []
    form = forms_of(value, quality)
    cuts = np.flatnonzero((tag[1:] != tag[:-1]) | (epoch[1:] != epoch[:-1])) + 1
    found: list[str] = []
    for a, b in pairwise([0, *cuts.tolist(), len(tag)]):
        head = f"sample,clock={epoch[a]},line={escaped(line)},path={paths[int(tag[a])]} "
        rows = zip(
            time_ns[a:b].tolist(),
            value[a:b].tolist(),
            quality[a:b].tolist(),
            arrival[a:b].tolist(),
            number[a:b].tolist(),
            form[a:b].tolist(),
            strict=True,
        )
        found.extend(
            f"{head}{_value_field(v, k)}arrival={at}i,form={k}i,number={n}i,quality={q}i {t}"
            for t, v, q, at, n, k in rows
        )
    return found


def forms_of(value: Values, quality: Qualities) -> NDArray[np.int64]:
    """In which form each sample's value is kept, shape (n,)."""
    form = np.where(is_bad(quality), HELD, NUMBER)
    form[np.isnan(value)] = NO_VALUE
    form[np.isposinf(value)] = PLUS_INFINITY
    form[np.isneginf(value)] = MINUS_INFINITY
    return form.astype(np.int64)


def frame_lines(frames: Iterable[Numbered], line: str) -> list[str]:
    """The points that keep whole frames."""
    found: list[str] = []
    for number, key_ns, frame in frames:
        body = base64.b64encode(zlib.compress(encode([frame]))).decode("ascii")
        parts = [body[at : at + _TEXT_LIMIT] for at in range(0, len(body), _TEXT_LIMIT)]
        first_ns, last_ns = span_of(frame)
        found.extend(
            f"frame,line={escaped(line)},part={part} arrival={frame.arrival_ns}i,"
            f'body="{text}",clock={frame.clock_epoch}i,first_time={first_ns}i,last_time={last_ns}i,'
            f"number={number}i,parts={len(parts)}i,samples={len(frame)}i {key_ns}"
            for part, text in enumerate(parts)
        )
    return found


def span_of(frame: Frame) -> tuple[int, int]:
    """First and last source time in a frame; of an empty one such that no window meets it."""
    if len(frame) == 0:
        return 2**62, -(2**62)
    return int(frame.time_ns.min()), int(frame.time_ns.max())


def tag_lines(tags: Iterable[Tag], line: str, time_ns: int) -> list[str]:
    """A line a tag."""
    return [
        f"tag,line={escaped(line)},path={tag.path} "
        f'body="{_quoted(json.dumps(tag.to_json(), ensure_ascii=False))}",number={tag.id}i {time_ns}'
        for tag in tags
    ]


def escaped(text: str) -> str:
    """A tag's value as line protocol wants it.

    Example:
        >>> escaped("pilot 2, north")
        'pilot\\\\ 2\\\\,\\\\ north'
    """
    for character in (",", " ", "="):
        text = text.replace(character, "\\" + character)
    return text


def _quoted(text: str) -> str:
    return text.replace("\\", "\\\\").replace('"', '\\"')


def _value_field(value: float, form: int) -> str:
    if form == NUMBER:
        return f"value={value!r},"
    return f"held={value!r}," if form == HELD else ""


def _last_writes(
    numbered: Sequence[Numbered],
) -> tuple[TagIds, NDArray[np.int64], Times, Values, Qualities, Times, NDArray[np.int64]]:
    """Tag, clock epoch, time, value, quality, arrival and number of the samples; of doubles the last one."""
    frames = [one.frame for one in numbered]
    sizes = [len(f) for f in frames]
    tag = np.concatenate([f.tag for f in frames])
    time_ns = np.concatenate([f.time_ns for f in frames])
    epoch = np.repeat([f.clock_epoch for f in frames], sizes)
    order = np.lexsort((np.arange(len(tag)), time_ns, epoch, tag))
    tag, time_ns, epoch = tag[order], time_ns[order], epoch[order]
    stays = np.ones(len(tag), dtype=np.bool_)
    stays[:-1] = (tag[1:] != tag[:-1]) | (epoch[1:] != epoch[:-1]) | (time_ns[1:] != time_ns[:-1])
    order = order[stays]
    value = np.concatenate([f.value for f in frames])[order]
    quality = np.concatenate([f.quality for f in frames])[order]
    arrival = np.repeat([f.arrival_ns for f in frames], sizes)[order]
    number = np.repeat([one.number for one in numbered], sizes)[order]
    return tag[stays], epoch[stays], time_ns[stays], value, quality, arrival, number
