"""What the time is when the edge's own clock cannot be believed; pure.

After a power cut a computer may come up at 1970, or years ahead. Then time goes on from the newest arrival, and
follows sources whose times go on from what is stored, or on which several agree, until the clock is set right.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

from historian.event import Event
from historian.frame import NS
from historian.trusted import BACK_NS, JUMP_NS, MADE_NS, Known, consensus, is_zone, trusted_now

_NEAR_NS: Final = 60 * NS
_ASK_AGAIN_NS: Final = 10 * NS
_OUTAGE_NS: Final = 400 * 86_400 * NS
"""No source is believed that says that more has passed since the newest record."""


class EdgeClock:
    """Makes readings of the edge's clock into the time, as far as anybody can tell.

    Args:
        passed_ns: the newest stored arrival; None in a new store.
        stored_ns: newest stored time of each source whose clock is a wall clock, by name; 0 where there is none.
        believed: whether something beside the sources says that a reading is right: a time server, a person.

    Attributes:
        now_ns: what the time is.
        doubt: why the clock is not believed, one clause; empty when it is.
    """

    def __init__(
        self,
        passed_ns: int | None = None,
        stored_ns: Mapping[str, int] | None = None,
        believed: Callable[[int], bool] = lambda now_ns: False,
    ) -> None:
        self.now_ns, self.doubt = passed_ns, ""
        self._stored_ns = dict(stored_ns or {})
        self._believed = believed
        self._read_ns: int | None = None
        self._asked_ns: int | None = None
        self._is_believed = False
        self._events: list[Event] = []

    def knows(self, source: str, stored_ns: int) -> None:
        """A further source with a wall clock, and its newest stored time; 0 where there is none."""
        self._stored_ns.setdefault(source, stored_ns)

    def at(self, read_ns: int, heard: Callable[[], Mapping[str, int]]) -> int:
        """What the time is.

        Args:
            read_ns: what the clock shows.
            heard: gives the newest times that sources sent since the last reading, by name.
        """
        passed_ns = 0 if self._read_ns is None else read_ns - self._read_ns
        self._read_ns = read_ns
        expected_ns = read_ns if self.now_ns is None else self.now_ns
        expected_ns += passed_ns if 0 < passed_ns <= JUMP_NS else 0
        if not self.doubt and self._goes_on(read_ns, expected_ns):
            said = heard()
            together_ns = _ahead_together(read_ns, said)
            if together_ns is None or self._said_right(read_ns):
                self.now_ns = read_ns
                return read_ns
            self._doubt(read_ns, together_ns, said)
            return together_ns
        said = heard()
        if self._is_right(read_ns, expected_ns, said):
            if self.doubt:
                self._believe(read_ns)
            self.now_ns = read_ns
            return read_ns
        self.now_ns = max(expected_ns, self._best(read_ns, expected_ns, said))
        if not self.doubt:
            self._doubt(read_ns, self.now_ns, said)
        return self.now_ns

    def events(self) -> list[Event]:
        """What happened since the last call; hands it over."""
        told, self._events = self._events, []
        return told

    def _goes_on(self, read_ns: int, expected_ns: int) -> bool:
        if read_ns < MADE_NS:
            return False
        # Without any source that could speak against it, there is nothing but the clock.
        far_ns = JUMP_NS if self._stored_ns else _OUTAGE_NS
        return -BACK_NS <= read_ns - expected_ns <= far_ns

    def _is_right(self, read_ns: int, expected_ns: int, said: Mapping[str, int]) -> bool:
        """Whether the clock may be believed again."""
        off_ns = read_ns - expected_ns
        if read_ns < MADE_NS:
            return False
        together_ns = consensus(list(said.values()))
        if self.doubt and (abs(off_ns) <= _NEAR_NS or (together_ns is None and 0 <= off_ns <= JUMP_NS)):
            return True
        # What is behind may be on local time, as one of the sources may be: two of them are asked for.
        some = [together_ns] if off_ns < 0 else [*said.values()]
        near = any(s is not None and abs(s - read_ns) <= _NEAR_NS for s in some)
        return near or self._said_right(read_ns)

    def _said_right(self, read_ns: int) -> bool:
        """What a time server or a person says, asked now and then."""
        if self._asked_ns is None or abs(read_ns - self._asked_ns) >= _ASK_AGAIN_NS:
            self._asked_ns, self._is_believed = read_ns, self._believed(read_ns)
        return self._is_believed

    def _best(self, read_ns: int, expected_ns: int, said: Mapping[str, int]) -> int:
        """The time by the sources that can be believed; the lowest number where none can."""
        together_ns = consensus([t for t in said.values() if t >= MADE_NS])
        if together_ns is not None:
            return together_ns
        credible = [
            t
            for name, t in said.items()
            if t >= MADE_NS
            and self._stored_ns.get(name, 0) - BACK_NS <= t <= max(expected_ns, MADE_NS) + _OUTAGE_NS
            and (read_ns < expected_ns or t < read_ns)
        ]
        if self._stored_ns and max(self._stored_ns.values()) == 0 and read_ns < MADE_NS:
            credible = [t for t in said.values() if t >= MADE_NS]
        return min(credible, key=lambda t: abs(t - expected_ns), default=-(2**62))

    def _doubt(self, read_ns: int, now_ns: int, said: Mapping[str, int]) -> None:
        known = Known(now_ns, list(said.values()))
        why = trusted_now(read_ns, known).doubt or "several sources agree among each other, and not with it"
        self.doubt, self.now_ns = why, now_ns
        text = (
            f"This computer's clock is not believed: {why}. Recording goes on by the time since the newest "
            "record, and by the sources whose times go on from there; nothing is sealed or let go of. "
            "Remedy: set this computer's clock or its time server; if it is right, say so with "
            "`meltledger clock confirm`."
        )
        self._events.append(Event(now_ns, "edge", "edge-clock-doubted", text, {"clock_ns": read_ns, "why": why}))

    def _believe(self, read_ns: int) -> None:
        self.doubt = ""
        text = "This computer's clock is believed again."
        self._events.append(Event(read_ns, "edge", "edge-clock-right", text, {"clock_ns": read_ns}))


def _ahead_together(read_ns: int, said: Mapping[str, int]) -> int | None:
    """The time on which several sources agree that are ahead of the clock, which no delay explains."""
    together_ns = consensus(list(said.values()))
    if together_ns is None or together_ns - read_ns <= _NEAR_NS or is_zone(together_ns - read_ns):
        return None
    return together_ns
