"""Whether the edge's clock may be believed when something is to be sealed or let go of by it; pure.

A computer that lost power may come back at 1970, or with a mistyped year. What is sealed or deleted by such a
clock goes into, or out of, the wrong day. So a clock is believed when it goes on from what is known to have
passed, when something beside it says the same, or when a person has confirmed it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from historian.frame import NS

MADE_NS: Final = 1_704_067_200 * NS
"""2024-01-01, before this software was made: a clock that shows an earlier time is not set."""

BACK_NS: Final = 600 * NS
"""A clock this far behind the newest arrival has been set back. Time servers step by seconds as a rule;
common practice, no source."""

JUMP_NS: Final = 24 * 3600 * NS
"""A clock may run ahead of what is known to have passed by so much: nothing that a day divides is mistaken by
more than one of them, and a night without power needs no word from anybody."""

AGREE_NS: Final = 600 * NS
"""A source whose clock differs by less says the same time."""

_TOGETHER_NS: Final = 60 * NS
_QUARTER_NS: Final = 900 * NS
_ZONES_NS: Final = 14 * 3600 * NS


@dataclass(frozen=True, slots=True)
class Known:
    """What is known beside the edge's clock; all times UTC nanoseconds.

    Attributes:
        passed_ns: a time that has passed: the newest stored arrival, or the last believed reading with the
            time since by a clock that cannot be set. None in a new store.
        sources_ns: what the clocks of the sources that are connected show now.
        synchronised: whether the operating system says that a time server keeps its clock.
        confirmed_ns: what the clock showed when a person confirmed it.
    """

    passed_ns: int | None = None
    sources_ns: Sequence[int] = ()
    synchronised: bool = False
    confirmed_ns: int | None = None


@dataclass(frozen=True, slots=True)
class Now:
    """A reading of the edge's clock, and whether to believe it.

    Attributes:
        ns: the reading, UTC nanoseconds.
        doubt: why it is not believed, one clause for a person; empty when it is.
    """

    ns: int
    doubt: str = ""

    @property
    def trusted(self) -> bool:
        """Whether something may be sealed or let go of by it."""
        return not self.doubt


def trusted_now(clock_ns: int, known: Known) -> Now:
    """The reading, with what speaks against it.

    With one source only and nothing else, nobody can tell which of two clocks is wrong: the edge's counts.

    Example:
        >>> from historian.frame import NS
        >>> t, day = 1_900_000_000 * NS, 86_400 * NS
        >>> trusted_now(t + 365 * day, Known(passed_ns=t)).doubt
        'it is 365.0 days ahead of the newest record, and nothing else says so'
        >>> trusted_now(t + 365 * day, Known(passed_ns=t, sources_ns=[t + 365 * day - NS])).trusted
        True
    """
    if clock_ns < MADE_NS:
        return Now(clock_ns, "it shows a time before this software was made: it is not set")
    if known.synchronised:
        return Now(clock_ns)
    passed_ns, together_ns = known.passed_ns, consensus(known.sources_ns)
    if known.confirmed_ns is not None and -BACK_NS <= clock_ns - known.confirmed_ns <= JUMP_NS:
        return Now(clock_ns)
    if together_ns is not None and abs(together_ns - clock_ns) <= AGREE_NS:
        return Now(clock_ns)
    if passed_ns is not None and clock_ns < passed_ns - BACK_NS:
        return Now(clock_ns, f"it is {_span(passed_ns - clock_ns)} behind the newest record")
    if any(abs(s - clock_ns) <= AGREE_NS for s in known.sources_ns):
        return Now(clock_ns)
    if passed_ns is not None and clock_ns > passed_ns + JUMP_NS:
        ahead = _span(clock_ns - passed_ns)
        return Now(clock_ns, f"it is {ahead} ahead of the newest record, and nothing else says so")
    if together_ns is not None and not is_zone(together_ns - clock_ns):
        off = f"{_span(abs(together_ns - clock_ns))} {'ahead' if clock_ns > together_ns else 'behind'}"
        return Now(clock_ns, f"several sources agree among each other, and it is {off} of them")
    return Now(clock_ns)


def consensus(sources_ns: Sequence[int]) -> int | None:
    """The time on which at least two sources, and more than half of all, agree; None when there is none.

    Example:
        >>> consensus([100, 101, 5 * 10**12]), consensus([100])
        (101, None)
    """
    best: list[int] = []
    for late in sources_ns:
        near = [s for s in sources_ns if 0 <= late - s <= _TOGETHER_NS]
        if len(near) > len(best):
            best = near
    # A network makes what a clock says late, never early: the newest is nearest to the truth.
    return max(best) if len(best) >= 2 and 2 * len(best) > len(sources_ns) else None


def is_zone(offset_ns: int, *, within_ns: int = 120 * NS) -> bool:
    """Whether an offset is that of a time zone: whole quarters of an hour, up to fourteen hours, not zero.

    Example:
        >>> [is_zone(s * NS) for s in (3600, -7201, 20_700, 600, 0, 86_400)]
        [True, True, True, False, False, False]
    """
    quarters = round(offset_ns / _QUARTER_NS)
    near = abs(offset_ns - quarters * _QUARTER_NS) <= within_ns
    return quarters != 0 and near and abs(offset_ns) <= _ZONES_NS + within_ns


def _span(ns: int) -> str:
    if ns >= 48 * 3600 * NS:
        return f"{ns / (86_400 * NS):.1f} days"
    return f"{ns / (3600 * NS):.1f} hours" if ns >= 2 * 3600 * NS else f"{ns / (60 * NS):.0f} minutes"
