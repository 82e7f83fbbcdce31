"""What one kind of fault is: number and words, where it shows, how soon it is due, what it writes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from simulator.faults.order import FaultOrder
from simulator.machines.upsets import Upsets


@dataclass(frozen=True, slots=True)
class Moment:
    """One fault at one moment.

    Attributes:
        order: which fault it is.
        level: how far it has grown, above 0 and up to its severity.
        since_s: time since its onset.
        melt_kg: melt that has passed the line since its onset.
    """

    order: FaultOrder
    level: float
    since_s: float = 0.0
    melt_kg: float = 0.0


Act = Callable[[Upsets, Moment], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultKind:
    """One way to fail.

    Attributes:
        number: the entry of the trade's list of faults that it belongs to, such as ``B16``.
        text: what happens, and what severity 1 means.
        tags: where it shows first; ``{place}`` and ``{tag}`` stand for the order's own.
        act: writes the upset.
        severity: of the alarm that it is worth: 1 journal, 2 low, 3 medium, 4 high.
        must_detect_within_s: how soon a finding is due after it can first be seen; None: no sooner than a
            person marks it.
        numbered: what the place counts, such as ``filter.plate``; empty: no place is needed.
        needs_tag, needs_source: whether the order must name a sensor's tag, or a source of samples.
        lag_s: how sluggishly its level follows.
        on_transport: it acts on samples under way, not on the line.
    """

    number: str
    text: str
    tags: tuple[str, ...]
    act: Act
    severity: int
    must_detect_within_s: float | None
    numbered: str = ""
    needs_tag: bool = False
    needs_source: bool = False
    lag_s: float = 0.0
    on_transport: bool = False

    @property
    def needs_place(self) -> bool:
        """Whether a place number must be given."""
        return bool(self.numbered)

    def level(self, order: FaultOrder, second: float) -> float:
        """How far an order of this kind has grown."""
        return order.lagged_level(second, self.lag_s)

    def tags_of(self, order: FaultOrder) -> tuple[str, ...]:
        """The tags on which an order of this kind shows first."""
        return tuple(tag.format(place=order.place, tag=order.tag) for tag in self.tags)
