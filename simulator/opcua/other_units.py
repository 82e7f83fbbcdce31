"""Other units than ours in which a machine may show what it measures.

Source: exact definitions (1 lb = 0.45359237 kg, 1 lbf = 4.4482216152605 N, 1 in = 25.4 mm, 0 Cel = 273.15 K).
"""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal, get_args

from historian.tags import Tag, TagKind

Units = Literal["ours", "mixed", "other"]
UNITS: Final[tuple[Units, ...]] = get_args(Units)
_SHARES: Final[Mapping[Units, float]] = {"ours": 0.0, "mixed": 0.4, "other": 1.0}

_LB_KG = 0.45359237
_PSI_BAR = 4.4482216152605 / 0.0254**2 / 1e5


@dataclass(frozen=True, slots=True)
class Shown:
    """In which unit a tag is shown.

    Attributes:
        unit: UCUM code.
        scale, offset: shown = scale · ours + offset.
    """

    unit: str
    scale: float = 1.0
    offset: float = 0.0

    def of(self, value: float) -> float:
        """The value in this unit."""
        return value if (self.scale, self.offset) == (1.0, 0.0) else value * self.scale + self.offset


_OTHERS: Final[Mapping[str, Sequence[Shown]]] = {
    "bar": (Shown("[psi]", 1.0 / _PSI_BAR), Shown("MPa", 0.1), Shown("kPa", 100.0)),
    "mbar": (Shown("kPa", 0.1),),
    "Cel": (Shown("[degF]", 1.8, 32.0), Shown("K", 1.0, 273.15)),
    "kg": (Shown("[lb_av]", 1.0 / _LB_KG),),
    "kg/h": (Shown("[lb_av]/h", 1.0 / _LB_KG),),
}


def shown_unit(tag: Tag, units: Units, seed: int) -> Shown:
    """The unit in which a tag is shown; what one sensor measures and is set to has one unit."""
    others = _OTHERS.get(tag.unit, ())
    chance = random.Random(f"{seed} unit {tag.path.rpartition('.')[0]}")
    if not others or tag.kind in (TagKind.CODE, TagKind.BOOLEAN) or chance.random() >= _SHARES[units]:
        return Shown(tag.unit)
    return chance.choice(others)
