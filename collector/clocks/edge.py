"""What the time is when the edge's own clock cannot be believed; pure.

After a power cut a computer may come up at 1970, or years ahead; while it runs, its clock may be set wrong.
Then time goes on from the newest record, and follows sources whose times go on from what is stored, or on
which several agree, until the clock is right again.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

from collector.clocks.arrival import STEP_NS
from historian.clocks.trusted import BACK_NS, JUMP_NS, MADE_NS, Known, consensus, is_zone, trusted_now
from historian.event import Event
from historian.frame import NS

Heard = Callable[[bool], Mapping[str, int]]
"""Gives the newest times that sources sent since the last reading, by name: as sent, or (True) righted."""

_PAUSE_NS: Final = 10 * NS
"""So long a busy computer may take between two readings; beyond, its clock was set or it slept."""

_ASKING_NS: Final = 5 * NS  # how long sources are waited for after the clock was set
_SILENT_NS: Final = 60 * NS
_LATE_NS: Final = 5 * NS
_AHEAD_NS: Final = 60 * NS  # by which several sources must be ahead of the clock,
_CLOSE_AHEAD_NS: Final = 5 * NS  # or by this where they agree to within
_CLOSE_NS: Final = NS
_VOTE_NS: Final = 15 * NS
"""So long after the start one source alone does not speak for or against the clock; machines come back one
after the other, and each may be in the middle of its back-off."""
_STILL_NS: Final = 3 * NS  # so long what a source sent tells its clock, by time passing
_ASK_AGAIN_NS: Final = 10 * NS
_OUTAGE_NS: Final = 400 * 86_400 * NS  # no source is believed that says that more than this has passed


class EdgeClock:
    """Makes readings of the edge's clock into the time, as far as anybody can tell.

    Args:
        passed_ns: the newest stored arrival; None in a new store.
        believed: whether something beside the sources says that a reading is right: a time server, a person.

    Attributes:
        now_ns: what the time is.
        doubt: why the clock is not believed, one clause; empty when it is.
    """

    def __init__(
        self, passed_ns: int | None = None, believed: Callable[[int], bool] = lambda now_ns: False
    ) -> None:
        self.now_ns, self.doubt = passed_ns, ""
        self._stored_ns: dict[str, int] = {}
        self._believed = believed
        self._read_ns: int | None = None
        self._first_ns: int | None = None
        self._heard: dict[str, tuple[int, int]] = {}  # what a source showed, and the reading at that time
        self._asking_ns: int | None = None  # time since the clock was set
        self._silent_ns = 0  # since a source sent something, while the clock is doubted
        self._asked_ns: int | None = None
        self._is_believed = False
        self._events: list[Event] = []

    def knows(self, source: str, stored_ns: int) -> None:
        """A source with a wall clock, and its newest stored time; 0 where there is none."""
        self._stored_ns.setdefault(source, stored_ns)

    def at(self, read_ns: int, heard: Heard) -> int:
        """What the time is.

        Args:
            read_ns: what the clock shows.
        """
        first, passed_ns = self._read_ns is None, read_ns - (self._read_ns or read_ns)
        self._read_ns = read_ns
        self._first_ns = read_ns if self._first_ns is None else self._first_ns
        went_on = 0 <= passed_ns <= _PAUSE_NS
        if not went_on:
            self._heard.clear()
        expected_ns = (read_ns if self.now_ns is None else self.now_ns) + (passed_ns if went_on else 0)
        if self.doubt:
            said = heard(True)
            if _ahead_together(read_ns, heard(False)) is not None and not self._said_right(read_ns):
                # What they sent speaks against it, whatever their times were made into before it was doubted.
                self._silent_ns = 0
                self.now_ns = max(expected_ns, self._best(read_ns, expected_ns, heard(False)))
                return self.now_ns
            self._silent_ns = 0 if said else self._silent_ns + (passed_ns if went_on else 0)
            return self._doubted(read_ns, expected_ns, said)
        # A right clock is never behind what it showed in an earlier run.
        is_set = read_ns < expected_ns - STEP_NS or self._is_far(read_ns, expected_ns)
        if not first:
            is_set = abs(read_ns - expected_ns) > STEP_NS
        if is_set or self._asking_ns is not None:
            return self._ask(read_ns, expected_ns, passed_ns if went_on else 0, heard(True))
        outvoted_ns = self._outvoted(read_ns, self._still(read_ns, heard(False)))
        return self._accept(read_ns) if outvoted_ns is None else outvoted_ns

    def is_asking_sources(self) -> bool:
        """Whether it is too early to say which is wrong, this clock or that of a source that is ahead of it.

        Soon after the start, until two sources have shown the time.
        """
        if self.doubt or self._read_ns is None or self._first_ns is None or len(self._stored_ns) < 2:
            return False
        is_early = 0 <= self._read_ns - self._first_ns < _VOTE_NS
        return is_early and len(self._heard) < 2 and not self.is_vouched_for()

    def is_vouched_for(self) -> bool:
        """Whether a time server or a person says that the clock is right."""
        return self._read_ns is not None and self._said_right(self._read_ns)

    def events(self) -> list[Event]:
        """What happened since the last call; hands it over."""
        told, self._events = self._events, []
        return told

    def _still(self, read_ns: int, said: Mapping[str, int]) -> dict[str, int]:
        """What sources show, those among them that said it a moment ago."""
        self._heard |= {name: (time_ns, read_ns) for name, time_ns in said.items()}
        return {n: t + read_ns - at for n, (t, at) in self._heard.items() if read_ns - at <= _STILL_NS}

    def _accept(self, read_ns: int) -> int:
        self._asking_ns = None
        self.now_ns = read_ns
        return read_ns

    def _ask(self, read_ns: int, expected_ns: int, passed_ns: int, said: Mapping[str, int]) -> int:
        """The clock was set, or this is the start after a leap: which of the two times do sources show?"""
        self._asking_ns = (self._asking_ns or 0) + passed_ns
        old, new = _shown(said, expected_ns), _shown(said, read_ns)
        is_far = self._is_far(read_ns, expected_ns)
        if (new and read_ns >= MADE_NS) or self._said_right(read_ns):
            return self._accept(read_ns)
        if is_far or old:
            return self._doubted(read_ns, expected_ns, said)
        outvoted_ns = self._outvoted(read_ns, said)
        if outvoted_ns is not None:
            return outvoted_ns
        if self._asking_ns >= _ASKING_NS:
            return self._accept(read_ns)
        self.now_ns = expected_ns
        return expected_ns

    def _doubted(self, read_ns: int, expected_ns: int, said: Mapping[str, int]) -> int:
        if self._is_right(read_ns, expected_ns, said):
            if self.doubt:
                self.doubt = ""
                text = "This computer's clock is believed again."
                data = {"clock_ns": read_ns}
                self._events.append(Event(read_ns, "edge", "edge-clock-right", text, data))
            return self._accept(read_ns)
        self.now_ns = max(expected_ns, self._best(read_ns, expected_ns, said))
        if not self.doubt:
            self._doubt(read_ns, self.now_ns, said)
        return self.now_ns

    def _outvoted(self, read_ns: int, said: Mapping[str, int]) -> int | None:
        """The time on which several sources agree against the clock, which is then doubted."""
        together_ns = _ahead_together(read_ns, said) if len(self._stored_ns) > 1 else None
        if together_ns is not None and not self._said_right(read_ns):
            self._doubt(read_ns, together_ns, said)
            return together_ns
        return None

    def _is_far(self, read_ns: int, expected_ns: int) -> bool:
        """Whether the clock can be right only if something beside it says so."""
        if read_ns < MADE_NS:
            return True
        # Without any source that could speak against it, there is nothing but the clock.
        far_ns = JUMP_NS if self._stored_ns else _OUTAGE_NS
        return not -BACK_NS <= read_ns - expected_ns <= far_ns

    def _is_right(self, read_ns: int, expected_ns: int, said: Mapping[str, int]) -> bool:
        """Whether the clock may be believed."""
        if read_ns < MADE_NS:
            return False
        off_ns = read_ns - expected_ns
        if abs(off_ns) <= STEP_NS or self._said_right(read_ns):
            return True
        # What is behind may be on local time, as one of the sources may be: two of them are asked for.
        several = {"": consensus(list(said.values())) or 0} if off_ns < -BACK_NS else said
        if _shown(several, read_ns):
            return not _shown(several, expected_ns)
        # No source is there to speak for one or the other.
        return self._silent_ns >= _SILENT_NS and -BACK_NS <= off_ns <= JUMP_NS

    def _said_right(self, read_ns: int) -> bool:
        """What a time server or a person says, asked now and then."""
        if read_ns < MADE_NS:
            return False
        if self._asked_ns is None or abs(read_ns - self._asked_ns) >= _ASK_AGAIN_NS:
            self._asked_ns, self._is_believed = read_ns, self._believed(read_ns)
        return self._is_believed

    def _best(self, read_ns: int, expected_ns: int, said: Mapping[str, int]) -> int:
        """The time by the sources that can be believed; the lowest number where none can."""
        plausible = {name: t for name, t in said.items() if t >= MADE_NS}
        together_ns = consensus(list(plausible.values()))
        if together_ns is not None:
            return together_ns
        latest_ns = expected_ns + _OUTAGE_NS if expected_ns >= MADE_NS else 2**62
        if read_ns > expected_ns:
            latest_ns = min(latest_ns, read_ns)
        going_on = [
            t for name, t in plausible.items() if self._stored_ns.get(name, 0) - BACK_NS <= t <= latest_ns
        ]
        return min(going_on, key=lambda t: abs(t - expected_ns), default=-(2**62))

    def _doubt(self, read_ns: int, now_ns: int, said: Mapping[str, int]) -> None:
        self._asking_ns, self.now_ns, self._silent_ns = None, now_ns, 0
        why = trusted_now(read_ns, Known(now_ns, list(said.values()))).doubt
        self.doubt = why or f"it was set to {abs(read_ns - now_ns) / NS:.1f} s away from what sources show"
        text = (
            f"This computer's clock is not believed: {self.doubt}. Recording goes on by the time since the "
            "newest record, and by the sources whose times go on from there. Remedy: set this computer's "
            "clock or its time server; if it is right, say so with `meltledger clock confirm`."
        )
        data = {"clock_ns": read_ns, "off_s": (read_ns - now_ns) / NS, "why": self.doubt}
        self._events.append(Event(now_ns, "edge", "edge-clock-doubted", text, data))


def _shown(said: Mapping[str, int], time_ns: int) -> bool:
    """Whether a source shows this time."""
    return any(-_LATE_NS <= t - time_ns <= STEP_NS for t in said.values())


def _ahead_together(read_ns: int, said: Mapping[str, int]) -> int | None:
    """The time on which several sources agree that are ahead of the clock, which no delay explains."""
    together_ns = consensus(list(said.values()))
    if together_ns is None or is_zone(together_ns - read_ns):
        return None
    close = [t for t in said.values() if 0 <= together_ns - t <= _CLOSE_NS]
    # Clocks that nobody set do not agree to the second: these are set by one time, which is not the edge's.
    ahead_ns = _CLOSE_AHEAD_NS if len(close) >= 2 and 2 * len(close) > len(said) else _AHEAD_NS
    return together_ns if together_ns - read_ns > ahead_ns else None
