"""What became of each alarm, read from the journal's entries: when it was announced, stood, was seen and
was hidden.

Ours and the machines' own stand in one journal, told apart by their origin. An alarm counts as announced when
it begins to ask for somebody, and again when it does so anew: it comes back from hiding while its condition
holds, or becomes graver after it was acknowledged. What stands suppressed under its root is not announced.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from rules.review.spells import Spell, Window

OURS: Final = "rules"
"""Origin of the alarms that our rules raise; every other origin is a machine's, by the name of its source."""

SHELVED: Final = "shelved"
SUPPRESSED: Final = "suppressed"
OUT_OF_SERVICE: Final = "out of service"
HIDINGS: Final = (SHELVED, SUPPRESSED, OUT_OF_SERVICE)


class AlarmName(NamedTuple):
    """Which alarm: who raises it, by which rule (ours), and what it is about.

    Of a machine's own alarm the rule is empty, and the subject is the machine's number of the condition.
    """

    origin: str
    rule: str
    subject: str


class Announced(NamedTuple):
    """The alarm asked for somebody.

    Attributes:
        time_ns: the edge's time, UTC nanoseconds.
        grade: our priority, or the class of the machine's severity, in a word.
        came: whether its condition began then; False when it was only announced again.
    """

    time_ns: int
    grade: str
    came: bool = True


@dataclass(slots=True)
class AlarmHistory:
    """One alarm, from the beginning of the journal.

    Attributes:
        name: which.
        label: how a person knows it.
        announced: each time that it asked for somebody.
        active: while its condition held, seen or hidden.
        waits: from the announcement until somebody saw it; open where nobody has.
        put_aside: waits that ended because the alarm was hidden: nobody acknowledged it.
        hidden: while it was kept from sight, by the way in which.
        tags: signals that its evidence named.
    """

    name: AlarmName
    label: str
    announced: list[Announced] = field(default_factory=list)
    active: list[Spell] = field(default_factory=list)
    waits: list[Spell] = field(default_factory=list)
    put_aside: list[Spell] = field(default_factory=list)
    hidden: dict[str, list[Spell]] = field(default_factory=lambda: {way: [] for way in HIDINGS})
    tags: dict[str, None] = field(default_factory=dict)

    def set_active(self, active: bool, at_ns: int, *, end_known: bool = True) -> None:
        """The condition holds, or does not, from this time on."""
        _turn(self.active, active, at_ns, end_known)

    def set_hidden(self, way: str | None, at_ns: int) -> None:
        """The alarm is kept from sight this way from now on; None: it is shown."""
        for one in HIDINGS:
            _turn(self.hidden[one], one == way, at_ns)
        if way is not None and _open(self.waits):
            self.put_aside.append(Spell(self.waits.pop().start_ns, at_ns))

    def announce(self, at_ns: int, grade: str, *, came: bool, waits: bool = True) -> None:
        """It asks for somebody; a wait that goes on goes on."""
        self.announced.append(Announced(at_ns, grade, came))
        if waits:
            _turn(self.waits, True, at_ns)

    def saw(self, at_ns: int) -> None:
        """Somebody acknowledged it."""
        _turn(self.waits, False, at_ns)

    @property
    def is_active(self) -> bool:
        """Whether the condition holds by the last word."""
        return _open(self.active)

    @property
    def all_hidden(self) -> list[Spell]:
        """While it was kept from sight, in whatever way."""
        return [s for spells in self.hidden.values() for s in spells]


def times_of(some: Iterable[AlarmHistory], window: Window, *, came: bool = False) -> NDArray[np.int64]:
    """When any of the alarms was announced within the window, rising, shape (n,).

    Args:
        came: leave out those that were only announced again.
    """
    times = [a.time_ns for h in some for a in h.announced if a.time_ns in window and (a.came or not came)]
    return np.sort(np.array(times, dtype=np.int64))


def origins_of(some: Sequence[AlarmHistory]) -> list[str]:
    """Who raised the alarms: ours first, then the machines by name."""
    return sorted({h.name.origin for h in some} | {OURS}, key=lambda o: (o != OURS, o))


def _open(spells: Sequence[Spell]) -> bool:
    return bool(spells) and spells[-1].end_ns is None


def _turn(spells: list[Spell], on: bool, at_ns: int, end_known: bool = True) -> None:
    """Begin or end the last spell where that is news."""
    if on and not _open(spells):
        spells.append(Spell(at_ns, None))
    elif not on and _open(spells):
        spells[-1] = Spell(spells[-1].start_ns, at_ns, end_known)
