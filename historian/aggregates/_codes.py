"""Status codes of results: which severity, and the bits that say where a value came from.

Source: OPC 10000-13 5.3.3 (information bits) and 5.4.3.2.1 (status calculation); the numbers of the bits are
those of OPC 10000-4 7.39.1 (InfoType DataValue, historian bits).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from historian.aggregates._config import AggregateConfig
from historian.frame import Qualities, Values
from historian.quality import BAD, GOOD, NO_DATA, Mask

CALCULATED: Final = 0x401
INTERPOLATED: Final = 0x402
PARTIAL: Final = 0x404
MULTIPLE_VALUES: Final = 0x410
DATA_SUB_NORMAL: Final = 0x40A4_0000

CODE_MASK: Final = 0xFFFF_0000

# A level is a severity after the configuration has had its say: an uncertain sample may count as bad.
Levels = NDArray[np.int8]
IS_GOOD: Final = 0
IS_UNCERTAIN: Final = 1
IS_BAD: Final = 2

_CODE_OF_LEVEL: Final = np.array([GOOD, DATA_SUB_NORMAL, NO_DATA], dtype=np.uint32)


def code_of(level: Levels) -> Qualities:
    """Good, Uncertain_DataSubNormal or Bad_NoData, one for each level, shape (n,)."""
    code: Qualities = _CODE_OF_LEVEL[level]
    return code


def sub_normal_where(uncertain: Mask) -> Qualities:
    """Uncertain_DataSubNormal where the mask is set, Good elsewhere, shape (n,)."""
    return code_of(uncertain.astype(np.int8))


def flag(bits: int, where: Mask) -> Qualities:
    """The bits where the mask is set, none elsewhere, shape (n,)."""
    return np.where(where, np.uint32(bits), np.uint32(0))


@dataclass(frozen=True, slots=True)
class Shares:
    """How much of each interval is good, uncertain and bad: samples, or nanoseconds.

    Attributes:
        good, uncertain, bad: shape (n,). Uncertain samples that count as bad are in ``bad``; what is left
            in ``uncertain`` then was estimated next to a bad one.
    """

    good: Values
    uncertain: Values
    bad: Values

    def code(self, config: AggregateConfig) -> Qualities:
        """Good, Uncertain_DataSubNormal or Bad for each interval, shape (n,).

        What is uncertain counts with the good unless the configuration takes it for bad, and keeps the
        result uncertain. What was estimated counts for neither side where uncertain is taken for bad: the
        text of 5.4.3.2.1 would make the row of 12:00:40 in table A.5.2 Bad; the table says Uncertain.

        Source: OPC 10000-13 5.4.3.2.1; 4.2.1.2 for shares that meet.
        """
        total = self.good + self.uncertain + self.bad
        keeps = not config.treat_uncertain_as_bad
        good = self.good + self.uncertain if keeps else self.good
        # Multiplied before it is divided: 57 of 100 must be 57 %, not 56.99999999999999 %.
        is_good = (self.bad == 0) & (keeps | (self.uncertain == 0))
        is_good |= good * 100.0 >= config.percent_data_good * total
        is_bad = (self.bad > 0) & (self.bad >= total)
        if not config.decided_by_good_alone:
            is_bad |= (self.bad > 0) & (self.bad * 100.0 >= config.percent_data_bad * total)
        if keeps:
            is_good &= self.uncertain == 0
        code = sub_normal_where(~is_good)
        code[is_bad] = BAD
        return code
