"""What ten seconds of the heated zones say, all in one row of numbers a signal."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class HeatTens:
    """Ten seconds of all zones; arrays of shape (zones,), NaN where not known.

    Attributes:
        temp_cel, setpoint_cel: mean, last; a reading beyond all reason is not known.
        out, least_out, most_out: controller output, mean, least and most, %; negative: cooling.
        current_a, least_a: highest and least in the window; not known unless its source
            was heard throughout.
        on_a: highest in the last 30 s, if the output was above ``ASKED_PERCENT`` all the while.
        usual_a: what it ought to draw while on; see ``HeaterCurrent``.
        in_use: 1 in use, 0 taken out, NaN unknown.
        heating: whether the controller works; True where no mode is sent.
        usable: whether in use, with known temperature and output.
        below_k: how far below its set-point, K.
        rate_k_min: warming over the last two minutes.
        settling: whether its set-point or a neighbour's was changed and is not yet reached; for 30 min at
            most.
        unseen_s: the longest time between two samples of its current: a pause may lie there. The whole window
            where hardly one came: the current is then sent when it changes.
    """

    time_ns: int
    temp_cel: Floats
    setpoint_cel: Floats
    out: Floats
    least_out: Floats
    most_out: Floats
    current_a: Floats
    least_a: Floats
    on_a: Floats
    usual_a: Floats
    in_use: Floats
    heating: Flags
    usable: Flags
    below_k: Floats
    rate_k_min: Floats
    settling: Flags
    unseen_s: Floats
