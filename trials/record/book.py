"""What a trial's record says now: its entries without those that were corrected or withdrawn. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from trials.record.entries import ONCE, Entry, What


@dataclass(frozen=True, slots=True)
class Book:
    """A trial's record as it stands.

    Attributes:
        standing: the entries that count, in the order of when it was so.
        corrected: number of a standing entry → those that it stands in place of, the newest first.
        withdrawn: entries that were taken back, each with the reason.
        seal: the newest seal; None while there is none.
        forgotten: the proof that all but the seals was deleted; None while it is there.
    """

    standing: tuple[Entry, ...]
    corrected: Mapping[int, tuple[Entry, ...]]
    withdrawn: tuple[tuple[Entry, str], ...]
    seal: Entry | None
    forgotten: Entry | None = None

    def all_of(self, what: What) -> list[Entry]:
        """The entries of a form, in the order of when it was so."""
        return [e for e in self.standing if e.what is what]

    def only(self, what: What) -> Mapping[str, Any]:
        """What the newest entry of a form says; empty where there is none."""
        found = self.all_of(what)
        return max(found, key=lambda e: e.id).data if found else {}

    @property
    def addenda(self) -> list[Entry]:
        """What was written after the seal."""
        return [e for e in self.standing if e.addendum]


def book_of(entries: Iterable[Entry]) -> Book:
    """What a trial's entries say together.

    Args:
        entries: of one trial, in any order.
    """
    listed = sorted(entries, key=lambda e: e.id)
    by_id = {e.id: e for e in listed}
    reason: dict[int, str] = {}
    after: dict[int, int] = {}  # an entry → the one that stands in its place
    newest: dict[What, int] = {}
    seal = forgotten = None
    for entry in listed:
        if entry.what is What.WITHDRAWN and entry.replaces is not None:
            reason[entry.replaces] = str(entry.data.get("why", ""))
            continue
        if entry.what is What.SEALED:
            seal = entry
            continue
        if entry.what is What.FORGOTTEN:
            forgotten = entry
            continue
        place = entry.replaces
        if place is None and entry.what in ONCE:
            place = newest.get(entry.what)
        if place is not None:
            after[place] = entry.id
        newest[entry.what] = entry.id
    words = [e for e in listed if e.what not in (What.WITHDRAWN, What.SEALED, What.FORGOTTEN)]
    standing = [e for e in words if e.id not in after and e.id not in reason]
    before = {new: old for old, new in after.items()}
    corrected: dict[int, tuple[Entry, ...]] = {}
    for entry in standing:
        chain, at = [], before.get(entry.id)
        while at is not None:
            chain.append(by_id[at])
            at = before.get(at)
        if chain:
            corrected[entry.id] = tuple(chain)
    return Book(
        tuple(sorted(standing, key=lambda e: (e.time_ns, e.id))),
        corrected,
        tuple((by_id[n], why) for n, why in sorted(reason.items()) if n in by_id),
        seal,
        forgotten,
    )
