"""What is said when something beside us fails and comes back, and when it is tried again."""

from __future__ import annotations

from collector.backoff import Backoff
from historian.errors import MeltledgerError, StoreFull, StoreReadOnly
from historian.event import Event
from historian.frame import NS


class Trouble:
    """One lasting fault: told once when it begins and once when it is over.

    Args:
        what: what does not work, for a person: "Samples cannot be stored".
        kind: of the event for faults that are not the disk's.
        back: kind of the event when it is over.
    """

    def __init__(self, what: str, kind: str, back: str, backoff: Backoff | None = None) -> None:
        self._what, self._kind, self._back = what, kind, back
        self._backoff = backoff or Backoff(1.0, 10.0)
        self._since_ns: int | None = None
        self._next_ns = 0

    @property
    def open(self) -> bool:
        """Whether the fault lasts."""
        return self._since_ns is not None

    def ready(self, now_ns: int) -> bool:
        """Whether to try now."""
        # A clock that was set back must not stop the tries.
        return not self.open or now_ns >= self._next_ns or self._next_ns - now_ns > 60 * NS

    def failed(self, error: MeltledgerError, now_ns: int, note: str) -> Event | None:
        """A try failed; the event to tell when the fault begins here."""
        self._next_ns = now_ns + int(self._backoff.next_s() * NS)
        if self.open:
            return None
        self._since_ns = now_ns
        kind, remedy = self._kind, "mend what is named there"
        if isinstance(error, StoreFull):
            kind, remedy = "disk-full", "free space on that disk"
        elif isinstance(error, StoreReadOnly):
            kind, remedy = (
                "disk-read-only",
                "mount that disk for writing, or give this user the right to write",
            )
        text = f"{self._what}: {error}. {note} Remedy: {remedy}."
        return Event(now_ns, "edge", kind, text, {"error": type(error).__name__, "text": str(error)})

    def over(self, now_ns: int, note: str = "") -> Event | None:
        """A try worked; the event to tell when that ends the fault."""
        if self._since_ns is None:
            return None
        held_s = (now_ns - self._since_ns) / NS
        self._since_ns = None
        self._backoff.reset()
        text = f"{self._what}: that is over; it held for {held_s:.0f} s. {note}".rstrip()
        return Event(now_ns, "edge", self._back, text, {"held_s": round(held_s, 3)})
