"""The lines that are served here, and which one an address means."""

from __future__ import annotations

from collections.abc import Sequence
from urllib.parse import parse_qs

from dashboard.errors import UnknownLine
from dashboard.reads import LineReads


class Lines:
    """The lines that are served here, in the order in which they were named.

    Raises:
        UnknownLine: no line at all, or two of one name.
    """

    def __init__(self, lines: Sequence[LineReads]) -> None:
        self._lines = {line.name: line for line in lines}
        if not lines or len(self._lines) != len(lines):
            raise UnknownLine("the pages need at least one line, and each line a name of its own")

    @property
    def names(self) -> tuple[str, ...]:
        """The lines' names."""
        return tuple(self._lines)

    def of(self, search: str | None) -> LineReads:
        """The line that an address asks for; the first one when it names none that is known."""
        asked = parse_qs((search or "").lstrip("?")).get("line", [""])[0]
        return self._lines.get(asked) or next(iter(self._lines.values()))

    def all(self) -> tuple[LineReads, ...]:
        """Every line."""
        return tuple(self._lines.values())
