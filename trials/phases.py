"""The phases of a trial as they count: as found, or as somebody cut them by hand. Pure.

After the first cut by hand the whole list is kept in the record, and nothing cuts it again by itself: what
would be found otherwise now is told beside it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final

from historian.errors import WrongInput
from process.phase_names import DWELL_S
from process.phases import Phase
from trials.record.book import Book
from trials.record.entries import What

_SAME_NS: Final = 10_000_000_000
"""The grid of the phases: boundaries closer than this are the same."""


@dataclass(frozen=True, slots=True)
class KeptPhase:
    """One phase.

    Attributes:
        by_hand: whether somebody set it.
    """

    phase: Phase
    by_hand: bool = False


def phases_that_count(found: Sequence[Phase], book: Book) -> list[KeptPhase]:
    """The phases of the record's newest cut, and after its end those found; all as found without a cut."""
    rows = book.only(What.PHASES).get("phase", [])
    kept = [KeptPhase(_phase(row), bool(row.get("by_hand", False))) for row in rows]
    if not kept:
        return [KeptPhase(p) for p in found]
    end_ns = kept[-1].phase.end_ns
    later = [_cut(p, end_ns, p.end_ns) for p in found if p.end_ns > end_ns]
    return [*kept, *(KeptPhase(p) for p in later)]


def with_phase(
    kept: Iterable[KeptPhase], name: str, start_ns: int, end_ns: int, reason: str
) -> list[KeptPhase]:
    """The phases with one set by hand over a stretch: it moves, splits, joins and renames in one.

    Neighbours of the same name join it. What was before and after stays as it was.

    Raises:
        WrongInput: no such phase, or the stretch is empty or lies outside of the trial.

    Example:
        >>> before = [KeptPhase(Phase("ramp", 0, 60, "")), KeptPhase(Phase("steady", 60, 100, ""))]
        >>> [(k.phase.name, k.phase.start_ns, k.by_hand) for k in with_phase(before, "ramp", 50, 80, "late")]
        [('ramp', 0, True), ('steady', 80, False)]
    """
    if name not in DWELL_S:
        raise WrongInput(f"there is no phase '{name}'; there are: {', '.join(DWELL_S)}")
    listed = list(kept)
    first_ns = listed[0].phase.start_ns if listed else 0
    last_ns = listed[-1].phase.end_ns if listed else 0
    if not first_ns <= start_ns < end_ns <= last_ns:
        raise WrongInput("the stretch must lie within the trial, and end after it begins")
    before = [_part(k, k.phase.start_ns, start_ns) for k in listed if k.phase.start_ns < start_ns]
    after = [_part(k, end_ns, k.phase.end_ns) for k in listed if k.phase.end_ns > end_ns]
    one = Phase(name, start_ns, end_ns, reason)
    if before and before[-1].phase.name == name:
        one = Phase(name, before.pop().phase.start_ns, one.end_ns, reason)
    if after and after[0].phase.name == name:
        one = Phase(name, one.start_ns, after.pop(0).phase.end_ns, reason)
    return [*before, KeptPhase(one, by_hand=True), *after]


def as_form(kept: Iterable[KeptPhase], why: str) -> dict[str, Any]:
    """The phases as the record keeps them."""
    rows = [
        {
            "name": k.phase.name,
            "start_ns": k.phase.start_ns,
            "end_ns": k.phase.end_ns,
            "reason": k.phase.reason,
            "confidence": round(k.phase.confidence, 3),
            "by_hand": k.by_hand,
        }
        for k in kept
    ]
    return {"phase": rows, "why": why}


def found_otherwise(kept: Iterable[KeptPhase], found: Sequence[Phase]) -> list[Phase]:
    """Phases that are found now and stand nowhere in the list: samples came later, or the limits are new.

    Where somebody has set a phase, nothing found counts as otherwise.
    """
    listed = list(kept)
    by_hand = [k.phase for k in listed if k.by_hand]

    def stands(one: Phase) -> bool:
        return any(
            k.phase.name == one.name
            and abs(k.phase.start_ns - one.start_ns) < _SAME_NS
            and abs(k.phase.end_ns - one.end_ns) < _SAME_NS
            for k in listed
        )

    def was_set(one: Phase) -> bool:
        return any(h.start_ns <= one.end_ns and one.start_ns <= h.end_ns for h in by_hand)

    return [p for p in found if not stands(p) and not was_set(p)]


def _phase(row: Any) -> Phase:
    return Phase(row["name"], row["start_ns"], row["end_ns"], row["reason"], row.get("confidence", 1.0))


def _part(kept: KeptPhase, start_ns: int, end_ns: int) -> KeptPhase:
    p = kept.phase
    return KeptPhase(_cut(p, max(p.start_ns, start_ns), min(p.end_ns, end_ns)), kept.by_hand)


def _cut(phase: Phase, start_ns: int, end_ns: int) -> Phase:
    return Phase(phase.name, max(phase.start_ns, start_ns), end_ns, phase.reason, phase.confidence)
