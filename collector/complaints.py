"""What a source sent that could not be read: counted, and told once a minute with one example."""

from __future__ import annotations

from collections import Counter
from threading import Lock

from historian.event import Event
from historian.frame import NS

_EVERY_NS = 60 * NS
_SHOWN = 120


class Complaints:
    """Counts what could not be read, by what was wrong with it.

    ``add`` may be called on any thread; what it does is one look-up and one count.

    Args:
        source: its name.
        what: kind of complaint → what is wrong and what to do, for a person.

    Attributes:
        total: of all since the start.
    """

    def __init__(self, source: str, what: dict[str, str]) -> None:
        self._source, self._what = source, what
        self._counts: Counter[str] = Counter()
        self._examples: dict[str, str] = {}
        self._told_ns: int | None = None
        self._lock = Lock()
        self.total = 0

    def add(self, kind: str, where: str, example: object, n: int = 1) -> None:
        """Something could not be read.

        Args:
            kind: one of those that ``what`` explains.
            where: the topic or node.
            example: what came; shown shortened and printable.
        """
        shown = kind in self._examples
        text = "" if shown else f"{printable(where)}: {printable(example)}"
        with self._lock:
            self.total += n
            self._counts[kind] += n
            self._examples.setdefault(kind, text)

    def due(self, now_ns: int) -> Event | None:
        """What to tell now: at once the first time, then at most once a minute."""
        waited = self._told_ns is None or abs(now_ns - self._told_ns) >= _EVERY_NS
        if not self._counts or not waited:
            return None
        with self._lock:
            counts, self._counts = self._counts, Counter()
            examples, self._examples = self._examples, {}
        self._told_ns = now_ns
        said = [f"{n} × {self._what[kind]} (such as {examples[kind]})" for kind, n in counts.most_common()]
        text = f"Source {self._source} sent what cannot be kept: {'; '.join(said)}. Everything else goes on."
        return Event(now_ns, self._source, "input-rejected", text, {"counts": dict(counts)})


def printable(what: object) -> str:
    """A short text of anything, without what a terminal or a page would act on.

    Example:
        >>> printable(b"\\x00{'a': 1")
        "\\\\x00{'a': 1"
    """
    if isinstance(what, bytes | bytearray | memoryview):
        what = bytes(what[: 4 * _SHOWN]).decode("utf-8", "backslashreplace")
    try:
        said = str(what)[: 4 * _SHOWN]
    except RecursionError:
        said = f"a {type(what).__name__}, nested too deeply to be shown"
    text = "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in said)
    return text if len(text) <= _SHOWN else f"{text[:_SHOWN]}…"
