"""What needs hands: one item a part, carried from digest to digest until somebody says that it is done.

How it works. A repair closes what was found of its part before. What is found afterwards opens the item
again: where a rule of before is among it, the part came back. What began before a repair and has not ended by
the end of a later period was not mended, or not only, and is on the list again too. Nothing is remembered
between digests: every list follows from the journal alone.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from rules.digest.deadlines import Deadline, Stays, deadline_of, stays
from rules.digest.episodes import Episode
from rules.digest.period import Period
from rules.digest.told import Repair
from rules.finding import Priority

MOST: Final = 5
"""Items at the top of a digest; a longer list is read by nobody. common practice, no source."""


@dataclass(frozen=True, slots=True)
class Item:
    """One part that needs hands.

    Attributes:
        part: path of the part.
        deadline: by when.
        priority: the gravest of what was found.
        since_ns: when the first of it began, UTC nanoseconds.
        times: how often it was found since.
        stands: whether it stood at the end of the period.
        leading: the episode that says most: the gravest, then the newest.
        rules: every rule that found it.
        after: the repair after which it came back or went on; None when there was none.
        came_back: whether it had been mended and was found anew; otherwise, with ``after``, it never ended.
        number: part number; empty when it is not known.
    """

    part: str
    deadline: Deadline
    priority: Priority
    since_ns: int
    times: int
    stands: bool
    leading: Episode
    rules: tuple[str, ...]
    after: Repair | None
    came_back: bool
    number: str = ""


@dataclass(frozen=True, slots=True)
class Done:
    """A repair of the period.

    Attributes:
        repair: who, when, what.
        stands: whether a rule still found the part's fault at the end of the period.
    """

    repair: Repair
    stands: bool


def work_of(
    episodes: Sequence[Episode],
    repairs: Sequence[Repair],
    period: Period,
    number_of: Callable[[str], str] = lambda _: "",
) -> list[Item]:
    """Every open item at the end of the period, the most urgent first.

    Args:
        episodes, repairs: as the journal tells of them up to the end of the period.
        number_of: part number of a part; empty when it is not known.
    """
    by_part: dict[str, list[Episode]] = {}
    for one in episodes:
        if one.root is None and one.onset_ns < period.end_ns:
            by_part.setdefault(one.subject, []).append(one)
    items = []
    for part, found in by_part.items():
        told = [r for r in repairs if r.part == part and r.time_ns < period.end_ns]
        item = _item(part, found, told[-1] if told else None, period, number_of(part))
        if item is not None:
            items.append(item)
    return sorted(items, key=_urgency)


def done_of(episodes: Sequence[Episode], repairs: Sequence[Repair], period: Period) -> list[Done]:
    """The repairs of the period, in order; of each whether a rule still finds the part's fault."""
    found = []
    for repair in repairs:
        if period.start_ns <= repair.time_ns < period.end_ns:
            stands = any(
                e.subject == repair.part and e.onset_ns < repair.time_ns and e.stands_at(period.end_ns)
                for e in episodes
            )
            found.append(Done(repair, stands))
    return found


def _item(
    part: str, found: Sequence[Episode], repair: Repair | None, period: Period, number: str
) -> Item | None:
    open_ones = [e for e in found if _is_open(e, repair, period)]
    if not open_ones:
        return None
    leading = max(open_ones, key=lambda e: (e.priority, e.onset_ns))
    rules = tuple(sorted({e.rule for e in open_ones}))
    after, came_back = None, False
    if repair is not None:
        before = {e.rule for e in found if e.onset_ns < repair.time_ns}
        new = {e.rule for e in open_ones if e.onset_ns >= repair.time_ns}
        came_back = bool(before & new)
        if came_back or any(e.onset_ns < repair.time_ns for e in open_ones):
            after = repair
    return Item(
        part,
        min(deadline_of(e.rule, e.priority) for e in open_ones),
        max(e.priority for e in open_ones),
        min(e.onset_ns for e in open_ones),
        len(open_ones),
        any(e.stands_at(period.end_ns) for e in open_ones),
        leading,
        rules,
        after,
        came_back,
        number,
    )


def _is_open(one: Episode, repair: Repair | None, period: Period) -> bool:
    how = stays(one.rule, one.priority)
    stands = one.stands_at(period.end_ns)
    if how is Stays.NEVER or (how is Stays.WHILE_IT_STANDS and not stands):
        return False
    if repair is None or one.onset_ns >= repair.time_ns:
        return True
    # The rules need a while to see a repair: what was mended in this very period has the rest of it.
    return stands and repair.time_ns < period.start_ns


def _urgency(item: Item) -> tuple[int, int, bool, bool, int, str]:
    return (item.deadline, -item.priority, not item.stands, not item.came_back, item.since_ns, item.part)
