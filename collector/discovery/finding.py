"""What discovery says of one variable: under which name it is kept, and what a person still has to decide."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Standing(StrEnum):
    """How far a variable is understood."""

    MAPPED = "mapped"  # type and path decide: nothing to ask
    CONFIRM = "confirm"  # kept under a neutral name until a person has said what it is
    AMBIGUOUS = "ambiguous"  # may be one of several tags: not kept until a person has chosen
    UNKNOWN = "unknown"  # nothing is known of it: not kept


class Confidence(StrEnum):
    """How well a proposal is founded."""

    HIGH = "high"  # words, unit and value agree
    MEDIUM = "medium"  # words and value agree, no unit is told; or only the type of the point is told
    LOW = "low"  # something does not fit


@dataclass(frozen=True, slots=True)
class Finding:
    """One variable.

    Attributes:
        address: its node, as a line's file writes it.
        place: where it stands, for a person: browse names joined by ``/``.
        standing: how far it is understood.
        path: tag under which it is kept: canonical when it is mapped, neutral otherwise.
        unit: UCUM code of what it delivers; ``1`` where nobody says.
        text: what the machine calls it.
        becomes: canonical tag that it is proposed to be; empty for none.
        readings: canonical tags that it may be, when there are several.
        confidence: of the proposal; None without one.
        reason: what speaks for it, and what is to be looked at.
        machine: of which machine it is; empty outside of machines.
    """

    address: str
    place: str
    standing: Standing
    path: str
    unit: str = "1"
    text: str = ""
    becomes: str = ""
    readings: tuple[str, ...] = ()
    confidence: Confidence | None = None
    reason: str = ""
    machine: str = ""

    @property
    def is_kept(self) -> bool:
        """Whether its samples are kept."""
        return self.standing in (Standing.MAPPED, Standing.CONFIRM)
