"""Writes a window of a store as CSV; a file has its name only when it is whole."""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Final, Literal
from zoneinfo import ZoneInfo

import numpy as np

from historian.errors import StoreReadOnly
from historian.exchange._window import Window, lots, side_by_side, tags_of
from historian.frame import NS, Series
from historian.quality import is_good
from historian.store import Store
from historian.tags import Tag
from historian.units import shown_unit

_LONG: Final = ("time", "tag", "value", "unit", "quality")

Progress = Callable[[int, int], None]
"""Told how much is done, of how much; in nanoseconds of the window."""


def export_csv(
    store: Store,
    path: Path,
    window: Window,
    *,
    form: Literal["wide", "long"] = "long",
    zone: ZoneInfo | None = None,
    separator: str = ",",
    decimal: str = ".",
    progress: Progress | None = None,
) -> int:
    """Write a window as CSV (UTF-8); gives the number of samples.

    The long form has the columns ``time``, ``tag``, ``value``, ``unit``, ``quality`` (OPC UA StatusCode);
    importing it gives the same samples (arrival and clock epoch are not in it). The wide form is for people
    and spreadsheets: one column a tag, its unit in the header, a cell only where the tag has a value at that
    time, and in the column ``not good`` the tags of that row whose quality is not good.

    Args:
        zone: of the times, with their offset; UTC when None.

    Raises:
        UnknownTag: a path that the store does not hold.
        StoreReadOnly: the file cannot be written.
    """
    tags = tags_of(store, window)
    stamp = _Stamps(zone)
    with whole(path) as part, part.open("w", encoding="utf-8", newline="") as file:
        out = csv.writer(file, delimiter=separator, lineterminator="\n")
        rows = _long_rows if form == "long" else _wide_rows
        out.writerow(_LONG if form == "long" else ["time", *map(heading, tags), "not good"])
        count = 0
        for found in lots(store, window):
            count += sum(len(s) for s in found.values())
            out.writerows(rows(found, tags, stamp, decimal))
            told(progress, window, found)
    return count


def heading(tag: Tag) -> str:
    """A column's heading: path, unit and, for a pressure, gauge or absolute.

    Example:
        >>> heading(Tag("die.pressure.pv", "bar", reference="gauge"))
        'die.pressure.pv [bar(g)]'
    """
    return f"{tag.path} [{shown_unit(tag.unit, tag.reference)}]"


def _unit_text(tag: Tag) -> str:
    return tag.unit + {"gauge": "(g)", "absolute": "(a)"}.get(tag.reference, "")


def _long_rows(
    found: dict[str, Series], tags: list[Tag], stamp: _Stamps, decimal: str
) -> Iterator[list[str]]:
    """Rows in order of time; tags of one time in the order in which they were named."""
    series = [found[t.path] for t in tags]
    time_ns = np.concatenate([s.time_ns for s in series])
    which = np.repeat(np.arange(len(series)), [len(s) for s in series])
    values = np.concatenate([s.value for s in series]).tolist()
    quality = np.concatenate([s.quality for s in series]).tolist()
    units = [_unit_text(t) for t in tags]
    for k in np.lexsort((which, time_ns)).tolist():
        tag = tags[which[k]]
        code = f"0x{quality[k]:08X}"
        yield [stamp.text(int(time_ns[k])), tag.path, _number(values[k], decimal), units[which[k]], code]


def _wide_rows(
    found: dict[str, Series], tags: list[Tag], stamp: _Stamps, decimal: str
) -> Iterator[list[str]]:
    for grid in side_by_side(found, [t.path for t in tags]):
        doubt = grid.present & ~is_good(grid.quality)
        for k, time_ns in enumerate(grid.time_ns.tolist()):
            cells = [_number(v, decimal) for v in grid.value[k].tolist()]
            names = " ".join(tags[j].path for j in np.flatnonzero(doubt[k]))
            yield [stamp.text(time_ns), *cells, names]


def _number(value: float, decimal: str) -> str:
    """The shortest text that reads back as the same number; empty for none."""
    if value != value:  # noqa: PLR0124
        return ""
    text = repr(value)
    text = text.removesuffix(".0")
    return text if decimal == "." else text.replace(".", decimal)


class _Stamps:
    """Writes times as ISO 8601 with all nine digits of the nanosecond where they are not zero."""

    def __init__(self, zone: ZoneInfo | None) -> None:
        self._zone = zone
        self._last = (-1, "", "")

    def text(self, time_ns: int) -> str:
        """The time, with Z or its offset."""
        second, rest = divmod(time_ns, NS)
        if second != self._last[0]:
            self._last = (second, *_second(second, self._zone))
        _, text, offset = self._last
        fraction = f".{rest:09d}".rstrip("0") if rest else ""
        return f"{text}{fraction}{offset}"


def _second(second: int, zone: ZoneInfo | None) -> tuple[str, str]:
    moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=second)
    text = moment.astimezone(zone or UTC).isoformat(timespec="seconds")
    return text[:19], "Z" if zone is None else text[19:]


def told(progress: Progress | None, window: Window, found: dict[str, Series]) -> None:
    """Say how far a lot reaches."""
    if progress is not None:
        last = max(int(s.time_ns[-1]) for s in found.values() if len(s))
        progress(min(last, window.end_ns) - window.start_ns, window.end_ns - window.start_ns)


@contextmanager
def whole(path: Path) -> Iterator[Path]:
    """A file beside the wanted one that takes its name at the end; an old one stays until then.

    Raises:
        StoreReadOnly: the folder cannot be written, or the disk is full.
    """
    part = path.with_name(path.name + ".part")
    try:
        yield part
        part.replace(path)
    except OSError as error:
        raise StoreReadOnly(f"{path}: cannot be written ({error}); name another file") from error
    finally:
        part.unlink(missing_ok=True)
