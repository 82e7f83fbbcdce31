"""Which heaters lost their current at the same time."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_WITHIN = 3  # tens of seconds: the dossier of this trade, B9
_LEAST = 2


def lost_together(runs: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Which zones' spells without current began within half a minute of another's.

    Args:
        runs: how many tens of seconds each zone has been without; 0: it is not, shape (zones,).

    Example:
        >>> lost_together(np.asarray([5, 0, 4, 90])).tolist()
        [True, False, True, False]
    """
    without = runs > 0
    if np.count_nonzero(without) < _LEAST:
        return np.zeros(len(runs), dtype=np.bool_)
    close = np.abs(runs[:, None] - runs[None, :]) <= _WITHIN
    near: NDArray[np.bool_] = without & ((close & without[None, :]).sum(axis=1) >= _LEAST)
    return near
