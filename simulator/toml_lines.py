"""At which line of a TOML text a key stands: the standard library's reader does not say."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

Place = tuple[str | int, ...]

_HEADER = re.compile(r"^\s*(\[\[?)\s*([^\[\]]+?)\s*\]\]?\s*(#.*)?$")
_KEY = re.compile(r'^\s*(?:"([^"]+)"|([A-Za-z0-9_-]+))\s*=')


def lines_of(text: str) -> Mapping[Place, int]:
    """Line number, from 1, of every table and key.

    It reads one key a line and plain table names: enough to point at a mistake.

    Example:
        >>> lines_of('[a]\\nx = 1\\n[[b]]\\ny = 2\\n[[b]]\\ny = 3')[("b", 1, "y")]
        6
    """
    found: dict[Place, int] = {}
    counts: dict[str, int] = {}
    table: Place = ()
    for number, line in enumerate(text.splitlines(), start=1):
        header = _HEADER.match(line)
        if header:
            name = header.group(2)
            if header.group(1) == "[[":
                counts[name] = counts.get(name, -1) + 1
                found.setdefault((name,), number)
                table = (name, counts[name])
            else:
                table = (name,)
            found[table] = number
            continue
        key = _KEY.match(line)
        if key:
            found.setdefault((*table, key.group(1) or key.group(2)), number)
    return found


def line_of(lines: Mapping[Place, int], place: Sequence[str | int]) -> int | None:
    """Line of a key, or of the nearest thing around it; None when nothing of it is there."""
    for length in range(len(place), 0, -1):
        found = lines.get(tuple(place[:length]))
        if found is not None:
            return found
    return None
