"""The review of a line's alarms: what came, beside what is published, and what to change."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import tzinfo
from typing import Final

from rules.review.figures import OriginFigures, figures_of
from rules.review.floods import STANDARD, FloodRule
from rules.review.history import AlarmHistory, origins_of
from rules.review.judgement import Judgement
from rules.review.nuisance import nuisance_of
from rules.review.proposal import Known, Proposal, proposal_for
from rules.review.published import LEAST_DAYS
from rules.review.rates import recorded_s
from rules.review.spells import Spell, Window, union, without

TOGETHER: Final = "together"
"""Origin of the figures of all alarms, ours and the machines'."""

MULTIPLY: Final = (
    "One alarm in 10 min must not be multiplied up to an hour or a day: alarms do not come evenly. "
    "Look at the ten-minute counts and the floods, not at the mean alone."
)
_SOURCES: Final = (
    "The standards themselves were not read: the published figures are from secondary texts or from memory, "
    "as each row says. They hold for one operator and are approximate; a rate alone does not show that "
    "alarms are good ones."
)


@dataclass(frozen=True, slots=True)
class Review:
    """The review of one window.

    Attributes:
        window: what was reviewed.
        recorded_s: how much of it was recorded.
        origins: ours, each machine's that told alarms, and all together when there are several.
        proposals: what to change, the alarms that came most often first.
        warnings: what must be known before the figures are used.
    """

    window: Window
    recorded_s: float
    origins: Sequence[OriginFigures]
    proposals: Sequence[Proposal]
    warnings: Sequence[str]

    @property
    def is_above(self) -> bool:
        """Whether any figure is above the published maximum."""
        return any(f.judgement is Judgement.ABOVE for o in self.origins for f in o.figures)


def review(
    some: Sequence[AlarmHistory],
    window: Window,
    zone: tzinfo,
    *,
    gaps: Sequence[Spell] = (),
    known: Known | None = None,
    flood_rule: FloodRule = STANDARD,
) -> Review:
    """Review what became of the alarms within the window.

    Args:
        some: all alarms, with their histories up to the window's end.
        zone: the site's.
        gaps: when nothing was recorded.
        known: what proposals may look at.
    """
    recorded = without([Spell(window.start_ns, window.end_ns)], gaps, window.end_ns)
    by_origin = [(o, [h for h in some if h.name.origin == o]) for o in origins_of(some)]
    if len(by_origin) > 1:
        by_origin.append((TOGETHER, list(some)))
    origins = [figures_of(o, hs, window, zone, recorded, flood_rule) for o, hs in by_origin]
    proposals = [proposal_for(h, window, known or Known()) for h in _annoying(some, origins[-1], window)]
    known_s = recorded_s(union(recorded, window.end_ns), window)
    return Review(window, known_s, origins, proposals, _warnings(window, known_s))


def _annoying(some: Sequence[AlarmHistory], all_figures: OriginFigures, window: Window) -> list[AlarmHistory]:
    """The ten most frequent alarms and all that chatter or are fleeting, most frequent first."""
    often = [f.history for f in all_figures.frequent]
    names = {h.name for h in often}
    others = [h for h in some if h.name not in names]
    return often + [h for h in others if (n := nuisance_of(h, window)).chattering or n.fleeting]


def _warnings(window: Window, known_s: float) -> list[str]:
    said = []
    known_days = known_s / 86_400
    if known_days < LEAST_DAYS:
        said.append(
            f"Recorded: {_span(known_s)}; at least {LEAST_DAYS} days are asked for (ISA-18.2, seen in "
            "secondary text). What is above here is above in this window; that the line is within cannot be "
            "said of it."
        )
    if window.s - known_s >= 1:
        said.append(
            f"Within the window nothing was recorded for {_span(window.s - known_s)}: alarms could be "
            "neither raised nor heard then. Rates and shares are those of the recorded time."
        )
    return [*said, MULTIPLY, _SOURCES]


def _span(seconds: float) -> str:
    """A length of time as a person reads it.

    Example:
        >>> _span(90), _span(8 * 3600), _span(86400 * 3)
        ('1.5 min', '8 h', '3 days')
    """
    for size, name in ((2 * 86_400.0, "days"), (3600.0, "h"), (60.0, "min")):
        if seconds >= size:
            return f"{seconds / (86_400 if name == 'days' else size):.3g} {name}"
    return f"{seconds:.3g} s"
