"""How fast zones of each kind warm at full output without losses."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from rules.line import LineFacts
from rules.seen.heat import HeatedZones
from rules.table.settings import values_of

# In the order of the kinds of zones.
_NAMES = ("plate", "barrel", "die", "pump", "block")


def full_rates_k_min(facts: LineFacts, zones: HeatedZones) -> NDArray[np.float64]:
    """Each zone's heating rate at full output as the line's file tells it, K/min, shape (zones,)."""
    values = values_of(facts, "heater-power")
    return np.asarray([values[f"{_NAMES[k]}_full_k_min"] for k in zones.kind], dtype=np.float64)
