"""A shape of messages, its pointers and times made ready: for single items, and for many that are alike."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from operator import itemgetter
from typing import cast

from collector.json.pointer import MISSING, one_step, pointer
from collector.json.shape import JsonShape
from collector.json.timestamps import time_reader
from historian.quality import BAD

_Get = Callable[[object], object]


@dataclass(slots=True)
class Alike:
    """What the items of a batch say, each list in their order.

    Attributes:
        names: None: they do not say their names.
        times: None: they do not say their times.
        qualities: 0 for all good.
    """

    values: list[object]
    names: list[object] | None
    times: list[object] | None
    qualities: int | list[int]


class ReadyShape:
    """How to find what a shape says.

    Attributes:
        said: the shape.
        name, each, value, time, message_time, quality: what stands there; None where nothing is said.
        time_ns: what stands for a time as UTC nanoseconds; None when it is no time.
    """

    def __init__(self, shape: JsonShape) -> None:
        self.said = shape
        named = shape.name if shape.name.startswith("/") else None
        self.name = _found(named)
        self.each = _found(shape.each)
        self.value = pointer(shape.value)
        self.time = _found(shape.time)
        self.message_time = _found(shape.message_time)
        self.quality = _found(shape.quality)
        self.time_ns = time_reader(shape.time_format, shape.zone)
        inside = (named, shape.value or None, shape.time, shape.quality)
        self._name_of, self._value_of, self._time_of, self._quality_of = (_getter(place) for place in inside)
        self._quick = all((one_step(place) is not None) for place in inside if place is not None)

    def columns(self, items: list[object]) -> Alike | None:
        """What all items say, when they are built alike; None when one lacks something."""
        if not self._quick:
            return None
        try:
            values = items if self._value_of is None else list(map(self._value_of, items))
            names = None if self._name_of is None else list(map(self._name_of, items))
            times = None if self._time_of is None else list(map(self._time_of, items))
            qualities = None if self._quality_of is None else list(map(self._quality_of, items))
        except (KeyError, TypeError, IndexError):
            return None
        return Alike(values, names, times, 0 if qualities is None else self._qualities(qualities))

    def times_ns(self, said: list[object]) -> int | list[int] | None:
        """What stands for times as UTC nanoseconds, one where all are alike; None when one is no time."""
        first = said[0]
        if _are_alike(said):
            return self.time_ns(first)
        times = [self.time_ns(t) for t in said]
        return None if None in times else times  # type: ignore[return-value]

    def quality_of(self, said: object) -> int:
        """The OPC UA StatusCode of what stands for a quality; good when nothing stands there."""
        if said is MISSING:
            return 0
        if self.said.good:
            # 1 and true are told apart: 192 may be good where true is not.
            return 0 if any(said == g and type(said) is type(g) for g in self.said.good) else BAD
        return said if type(said) is int and 0 <= said < 2**32 else BAD

    def _qualities(self, said: list[object]) -> int | list[int]:
        if _are_alike(said):
            return self.quality_of(said[0])
        return [self.quality_of(q) for q in said]


def _are_alike(said: list[object]) -> bool:
    """Whether all are the same; 1, 1.0 and true are equal in Python, but not the same in JSON."""
    return said.count(said[0]) == len(said) and len(set(map(type, said))) == 1


def _found(place: str | None) -> _Get | None:
    return None if place is None else pointer(place)


def _getter(place: str | None) -> _Get | None:
    step = None if place is None else one_step(place)
    return None if step is None else cast(_Get, itemgetter(step))
