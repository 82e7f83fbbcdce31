"""What one whole second of arrivals holds for the detectors: samples in order, and late ones."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from historian.frame import NS, Frame, concatenate
from historian.tags import Tag
from rules.block import Block, Names

# A source's clock that was set back by less than this catches up before a rule has lost much: derived here.
SET_BACK_NS = 60 * NS
_NEVER = np.iinfo(np.int64).min


@dataclass(frozen=True, slots=True)
class Split:
    """One second's samples.

    Attributes:
        in_order: newer than what was judged before.
        late: older than that.
        set_back: paths of tags whose source's clock was set back by more than a minute; theirs begin anew.
    """

    in_order: Block
    late: Block
    set_back: tuple[str, ...] = ()


class Intake:
    """Splits each second's samples by the newest source time that was judged for their tag.

    Newer than it: in order. Equal: a duplicate, dropped. Older, or of an earlier clock epoch: late.
    The same tag and source time twice within one second: the last one that arrived counts.

    Args:
        tags: every tag of the line by path; samples of other tag numbers are passed over.
    """

    def __init__(self, tags: Mapping[str, Tag]) -> None:
        self._paths = {tag.id: path for path, tag in tags.items()}
        self._names = Names(self._paths)
        size = max(self._paths, default=0) + 1
        self._newest: NDArray[np.int64] = np.full(size, _NEVER, dtype=np.int64)
        self._epoch: NDArray[np.int64] = np.zeros(size, dtype=np.int64)
        self._known = np.zeros(size, dtype=np.bool_)
        self._known[list(self._paths)] = True

    def split(self, frames: Sequence[Frame]) -> Split:
        """The second's samples that are in order, and its late ones."""
        frames = [self._of_known_tags(f) for f in frames]
        set_back = [path for frame in frames for path in self._follow_clock(frame)]
        current = [_where(f, self._epoch[f.tag] == f.clock_epoch) for f in frames]
        earlier = [_where(f, self._epoch[f.tag] > f.clock_epoch) for f in frames]
        second = _one_of_each(current)
        newest = self._newest[second.tag]
        in_order = _where(second, second.time_ns > newest)
        late = _one_of_each([*earlier, _where(second, second.time_ns < newest)])
        np.maximum.at(self._newest, in_order.tag, in_order.time_ns)
        return Split(Block.of(in_order, self._names), Block.of(late, self._names), tuple(set_back))

    def save(self) -> dict[str, Any]:
        """The newest judged source time and the clock epoch of each tag that has one."""
        seen = {p: t for t, p in self._paths.items() if self._newest[t] != _NEVER}
        return {p: [int(self._newest[t]), int(self._epoch[t])] for p, t in seen.items()}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave; tags that the line no longer has are passed over."""
        for tag, path in self._paths.items():
            self._newest[tag], self._epoch[tag] = state.get(path, (_NEVER, 0))

    def _of_known_tags(self, frame: Frame) -> Frame:
        known = (frame.tag >= 0) & (frame.tag < len(self._known))
        known[known] = self._known[frame.tag[known]]
        return _where(frame, known)

    def _follow_clock(self, frame: Frame) -> list[str]:
        """Take up the frame's clock epoch where it is a later one; which tags' clocks were set back."""
        if not (frame.clock_epoch > self._epoch[frame.tag]).any():
            return []
        set_back = []
        for tag, series in frame.by_tag():
            if frame.clock_epoch > self._epoch[tag]:
                self._epoch[tag] = frame.clock_epoch
                newest = int(self._newest[tag])
                if newest != _NEVER and int(series.time_ns[0]) < newest - SET_BACK_NS:
                    self._newest[tag] = _NEVER
                    set_back.append(self._paths[tag])
        return set_back


def _one_of_each(frames: Sequence[Frame]) -> Frame:
    """The frames as one, with the last sample that arrived of each tag and source time."""
    frame = concatenate(frames, arrival_ns=frames[-1].arrival_ns)
    last = np.ones(len(frame), dtype=np.bool_)
    last[:-1] = (frame.tag[1:] != frame.tag[:-1]) | (frame.time_ns[1:] != frame.time_ns[:-1])
    return _where(frame, last)


def _where(frame: Frame, mask: NDArray[np.bool_]) -> Frame:
    if mask.all():
        return frame
    columns = (frame.tag[mask], frame.time_ns[mask], frame.value[mask], frame.quality[mask])
    return Frame(*columns, frame.arrival_ns, frame.clock_epoch)
