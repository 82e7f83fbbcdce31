"""On which line of a TOML text a key stands, so that a fault can be found without searching."""

from __future__ import annotations

import re
from collections.abc import Sequence

_HEADER = re.compile(r"^\s*(\[\[?)\s*(.+?)\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(
    r"""^\s*((?:"[^"]*"|'[^']*'|[A-Za-z0-9_-]+)(?:\s*\.\s*(?:"[^"]*"|'[^']*'|[A-Za-z0-9_-]+))*)\s*="""
)
_PART = re.compile(r""""([^"]*)"|'([^']*)'|([A-Za-z0-9_-]+)""")


def line_of(text: str, path: Sequence[str | int]) -> int:
    """The line number (from 1) of the key, or of its nearest parent that stands in the text; 1 at worst.

    Args:
        path: keys and places within arrays of tables, as in ``("source", 0, "tags", "filter.dp.calc")``.

    Example:
        >>> line_of('[line]\\nname = "a"\\n[[source]]\\nname = "b"', ("source", 0, "name"))
        4
    """
    wanted = list(path)
    best, best_depth = 1, 0
    counts: dict[tuple[str | int, ...], int] = {}
    table: list[str | int] = []
    for number, line in enumerate(text.splitlines(), start=1):
        header = _HEADER.match(line)
        if header and not _KEY.match(line):
            table = _resolve(_parts(header.group(2)), header.group(1) == "[[", counts)
            here = table
        elif key := _KEY.match(line):
            here = [*table, *_parts(key.group(1))]
        else:
            continue
        depth = min(len(here), len(wanted))
        if depth > best_depth and here[:depth] == wanted[:depth] and (len(here) == depth or header):
            best, best_depth = number, depth
    return best


def _parts(dotted: str) -> list[str]:
    return [a or b or c for a, b, c in _PART.findall(dotted)]


def _resolve(parts: list[str], is_array: bool, counts: dict[tuple[str | int, ...], int]) -> list[str | int]:
    """The header's path with the place of each array of tables that it stands in."""
    path: list[str | int] = []
    for depth, part in enumerate(parts):
        path.append(part)
        last = depth == len(parts) - 1
        key = tuple(path)
        if last and is_array:
            counts[key] = counts.get(key, -1) + 1
        if key in counts:
            path.append(counts[key])
    return path
