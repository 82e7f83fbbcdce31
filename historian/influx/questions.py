"""What is asked of the server, as InfluxQL. Pure.

Every name is quoted, because several are keywords; only what versions 1, 2 and 3 all know is used.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

import numpy as np

_INT64 = np.iinfo(np.int64)


def samples_between(line: str, paths: Iterable[str], start_ns: int, end_ns: int) -> str:
    """The samples with start ≤ source time < end."""
    return (
        f'SELECT "quality","form","value","held","number" FROM "sample" WHERE "line"={text(line)}'
        f'{_any_of(paths)}{_window(start_ns, end_ns)} GROUP BY "path","clock"'
    )


def last_samples(line: str, paths: Iterable[str] = (), window: tuple[int, int] | None = None) -> str:
    """The newest sample of each tag and clock epoch, within a window if there is one."""
    within = _window(*window) if window else ""
    return (
        'SELECT last("quality") AS "quality","form","value","held","arrival","number" FROM "sample" '
        f'WHERE "line"={text(line)}{_any_of(paths)}{within} GROUP BY "path","clock"'
    )


def frames_after(line: str, key_ns: int | None, limit: int, window: tuple[int, int] | None = None) -> str:
    """The points of the frames after one, in order.

    Args:
        window: only of those that reach into it with a source time.
    """
    after = "" if key_ns is None else f" AND time > {key_ns}"
    if window is not None:
        low, high = _clipped(*window)
        after += f' AND "last_time" >= {low} AND "first_time" < {high}'
    return (
        f'SELECT "number","part","parts","body" FROM "frame" WHERE "line"={text(line)}{after} '
        f"ORDER BY time ASC LIMIT {limit}"
    )


def key_of(line: str, number: int) -> str:
    """The time of the newest frame with at most this number."""
    return (
        f'SELECT last("number") AS "number" FROM "frame" '
        f'WHERE "line"={text(line)} AND "part"=\'0\' AND "number" <= {number}'
    )


def last_frame(line: str) -> str:
    """Number and time of the last frame."""
    return f'SELECT last("number") AS "number" FROM "frame" WHERE "line"={text(line)} AND "part"=\'0\''


def all_tags(line: str) -> str:
    """Every tag as it was written last."""
    return f'SELECT last("number") AS "number","body" FROM "tag" WHERE "line"={text(line)} GROUP BY "path"'


def end_of_all(line: str, which: Literal["first", "last"]) -> str:
    """The first or the last sample of all tags."""
    return f'SELECT {which}("quality") AS "quality" FROM "sample" WHERE "line"={text(line)}'


def text(value: str) -> str:
    """A text as InfluxQL writes it.

    Example:
        >>> text("o'clock")
        "'o\\\\'clock'"
    """
    return "'" + value.replace("\\", "\\\\").replace("'", "\\'") + "'"


def _any_of(paths: Iterable[str]) -> str:
    wanted = " OR ".join(f'"path"={text(path)}' for path in paths)
    return f" AND ({wanted})" if wanted else ""


def _window(start_ns: int, end_ns: int) -> str:
    low, high = _clipped(start_ns, end_ns)
    return f" AND time >= {low} AND time < {high}"


def _clipped(start_ns: int, end_ns: int) -> tuple[int, int]:
    # The server takes no time at the very ends of int64.
    return max(start_ns, int(_INT64.min) + 2), min(end_ns, int(_INT64.max) - 1)
