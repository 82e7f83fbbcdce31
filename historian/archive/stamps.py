"""How a column of times is kept exactly, so that every engine reads it.

As a timestamp in ms or µs where that is exact. Not every engine reads timestamps in nanoseconds, so finer
times are a timestamp in µs, rounded down, and a second column ``NAME#ns`` with 0 to 999 ns to be added.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from typing import Any, Final

import numpy as np
import pyarrow as pa

from historian.archive.numbers import integers
from historian.frame import Times

REST: Final = "#ns"
_STEP_NS: Final = {"ms": 1_000_000, "us": 1_000, "ns": 1}


def unit_of(time_ns: Times) -> str:
    """The coarsest of ms, µs and ns that gives every time back.

    Example:
        >>> unit_of(np.array([5_000_000, 7_000_000])), unit_of(np.array([5_000_001]))
        ('ms', 'ns')
    """
    return next(unit for unit, ns in _STEP_NS.items() if not (time_ns % ns).any())


def finest(units: Iterable[str]) -> str:
    """The unit that is exact for all of them."""
    return min(units, key=_STEP_NS.__getitem__)


def stamp(name: str, unit: str) -> Any:
    """The field of the timestamps themselves."""
    return pa.field(name, pa.timestamp(_kept(unit), tz="UTC"), nullable=False)


def rests(unit: str, *names: str) -> list[Any]:
    """The fields of what is to be added to them; none unless the unit is ns. They stand last in a schema."""
    return [pa.field(name + REST, pa.int16(), nullable=False) for name in names] if unit == "ns" else []


def to_stamps(time_ns: Times, unit: str) -> Any:
    """Times as timestamps, of which ``to_rests`` has the rest."""
    kept = _kept(unit)
    return pa.array(time_ns // _STEP_NS[kept]).cast(pa.timestamp(kept, tz="UTC"))


def to_rests(unit: str, *times_ns: Times) -> list[Any]:
    """What is to be added, in the order of ``rests``."""
    return [pa.array((time_ns % 1_000).astype(np.int16)) for time_ns in times_ns] if unit == "ns" else []


def columns_of(there: Collection[str], *names: str) -> list[str]:
    """The columns to be read for some times: those with a rest have two."""
    return [*names, *(name + REST for name in names if name + REST in there)]


def times_of(table: Any, name: str) -> Times:
    """UTC nanoseconds of a column of timestamps without nulls, and its rest where the table has one."""
    found: Times = integers(table[name], np.int64) * _STEP_NS[table[name].type.unit]
    if name + REST in table.schema.names:
        found = found + integers(table[name + REST], np.int16)
    return found


def bounds_of(statistics: Any, unit: str) -> tuple[int, int]:
    """The oldest and the newest time that a row group may hold, by its statistics."""
    step_ns = _STEP_NS[unit]
    return statistics.min_raw * step_ns, statistics.max_raw * step_ns + step_ns - 1


def _kept(unit: str) -> str:
    return "us" if unit == "ns" else unit
