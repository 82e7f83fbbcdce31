"""What stands in a digest of one shift or day: a pure function of the journal and a period."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from rules.digest.episodes import Episode, Name, episodes_of
from rules.digest.hours import Worn
from rules.digest.period import Period
from rules.digest.places import machine_of, part_of
from rules.digest.sight import Sight, Stretch, blinds_of, sight_of
from rules.digest.told import Deed, Repair, deeds_of, repairs_of
from rules.digest.work import MOST, Done, Item, done_of, work_of
from rules.entry import Entry, EntryKind
from rules.finding import Priority

KINDS: Final = (EntryKind.FINDING, EntryKind.TRANSITION, EntryKind.ACT, EntryKind.NOTE, EntryKind.EVENT)
"""The entries that a digest is made of."""

PICTURES: Final = 8
"""So many pictures at most: a mail stays small enough for a phone."""


@dataclass(frozen=True, slots=True)
class Seen:
    """What one rule found of one part in the period.

    Attributes:
        machine, part: in words; ``subject`` is the path.
        first_ns: when the first of it began, which may be before the period.
        last_ns: when the last of it ended; None while it stands.
        times: how often it was found in the period.
        sentence: the newest words.
        leading: the episode that says most.
        root: the alarm of which all of it was a consequence; None when it was none.
    """

    machine: str
    part: str
    rule: str
    subject: str
    priority: Priority
    first_ns: int
    last_ns: int | None
    times: int
    sentence: str
    leading: Episode
    root: Name | None


@dataclass(frozen=True, slots=True)
class Wanted:
    """A picture that a digest asks for.

    Attributes:
        key: its name within the digest.
        tags: the signals, by path.
        start_ns, end_ns: the window at which the rule looked.
    """

    key: str
    tags: tuple[str, ...]
    start_ns: int
    end_ns: int


@dataclass(frozen=True, slots=True)
class Digest:
    """A digest of one period.

    Attributes:
        line: name of the line.
        zone: IANA zone of the site.
        work: the items at the top, the most urgent first, at most five.
        further: open items that are not among them.
        done: repairs of the period.
        seen: what was found, machine by machine, gravest first within a machine.
        deeds: notes, marks and what people did to alarms.
        worn: running hours.
        sight: how much could be judged.
        in_doubt: earlier digests of which it is not known whether they arrived, in words.
        simulated: whether the line's sources are simulated.
    """

    line: str
    zone: str
    period: Period
    work: tuple[Item, ...]
    further: tuple[Item, ...]
    done: tuple[Done, ...]
    seen: tuple[Seen, ...]
    deeds: tuple[Deed, ...]
    worn: tuple[Worn, ...]
    sight: Sight
    in_doubt: tuple[str, ...] = ()
    simulated: bool = False

    @property
    def is_quiet(self) -> bool:
        """Whether nothing was found and nothing is open; it says nothing of what could not be judged."""
        return not (self.work or self.seen)


def digest_of(
    entries: Sequence[Entry],
    period: Period,
    *,
    line: str,
    zone: str,
    unrecorded: Sequence[Stretch] = (),
    judged: int = 0,
    not_judged: Mapping[str, str] | None = None,
    worn: Sequence[Worn] = (),
    number_of: Callable[[str], str] = lambda _: "",
    in_doubt: Sequence[str] = (),
    simulated: bool = False,
) -> Digest:
    """The digest of a period.

    Args:
        entries: the journal's entries of ``KINDS`` from its beginning, in the order of their times. Those
            after the period are heeded only for what they tell of it: spells without sight end late.
        unrecorded: when nothing was recorded, UTC nanoseconds.
        judged: how many rules are at work.
        not_judged: rule → why the line does not judge it.
        number_of: part number of a part; empty when it is not known.
    """
    until = [e for e in entries if e.time_ns < period.end_ns]
    episodes, repairs = episodes_of(until), repairs_of(until)
    work = work_of(episodes, repairs, period, number_of)
    of_period = [e for e in until if e.time_ns >= period.start_ns]
    sight = sight_of(
        blinds_of(entries, period.end_ns), unrecorded, period, judged=judged, not_judged=not_judged
    )
    return Digest(
        line,
        zone,
        period,
        tuple(work[:MOST]),
        tuple(work[MOST:]),
        tuple(done_of(episodes, repairs, period)),
        tuple(_seen(episodes, period)),
        tuple(deeds_of(of_period)),
        tuple(worn),
        sight,
        tuple(in_doubt),
        simulated,
    )


def repairs_until(entries: Sequence[Entry], until_ns: int) -> list[Repair]:
    """Repairs and changes that were told before a time."""
    return repairs_of([e for e in entries if e.time_ns < until_ns])


def pictures_of(digest: Digest) -> list[Wanted]:
    """The pictures that a digest asks for: of its items first, then of what else was found."""
    leading = [i.leading for i in digest.work] + [s.leading for s in digest.seen]
    wanted: dict[str, Wanted] = {}
    for one in leading:
        tags = tuple(str(t) for t in one.evidence.get("tags", ()))
        if tags and len(wanted) < PICTURES:
            start_ns, end_ns = int(one.evidence["start_ns"]), int(one.evidence["end_ns"])
            key = picture_key(one)
            wanted.setdefault(key, Wanted(key, tags, start_ns, end_ns))
    return list(wanted.values())


def picture_key(episode: Episode) -> str:
    """The name of an episode's picture within a digest."""
    return f"{episode.rule}-{episode.subject}-{episode.onset_ns // 1_000_000_000}"


def _seen(episodes: Sequence[Episode], period: Period) -> list[Seen]:
    by_name: dict[Name, list[Episode]] = {}
    for one in episodes:
        if one.meets(period.start_ns, period.end_ns):
            by_name.setdefault((one.rule, one.subject), []).append(one)
    rows = []
    for (rule, subject), found in by_name.items():
        leading = max(found, key=lambda e: (e.priority, e.onset_ns))
        ends = [e.end_ns for e in found]
        last_ns = None if None in ends else max(e for e in ends if e is not None)
        roots = {e.root for e in found}
        name = (machine_of(subject), part_of(subject), rule, subject)
        when = (leading.priority, min(e.onset_ns for e in found), last_ns, len(found))
        root = roots.pop() if len(roots) == 1 else None
        rows.append(Seen(*name, *when, leading.sentence, leading, root))
    return sorted(rows, key=lambda s: (s.machine, -s.priority, s.part, s.first_ns, s.rule))
