"""Which loss of pressure along the melt has left the share that it usually has of the others.

Melt loses pressure in the pipe before the screen, in the one behind it, and in the die. All three go with
viscosity and throughput alike, so their shares stay. Three speak of one flow: the middle one is believed, and
who is off by bars is named. A die whose holes freeze loses more alone; then both pipes agree, and it is the
die that stands apart: that is another rule's.

Derived here: laminar flow of one melt through three fixed passages.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import isnan, nan
from statistics import median
from typing import Any

from rules.seen.baseline import Baseline

_POINTS, _LEAST = 360, 90  # tens of steady seconds: an hour, and a quarter of one
_ALMOST_NONE_BAR = 0.2


class LineLosses:
    """Learns the shares in steady running and tells how far each loss is from what the others let expect.

    Args:
        names: of the losses in pipes.
    """

    def __init__(self, names: Sequence[str]) -> None:
        self._shares = {name: Baseline(_POINTS, _LEAST) for name in names}

    def learn(self, loss_bar: Mapping[str, float], die_bar: float) -> None:
        """Take ten steady seconds."""
        if not die_bar > 0.0:
            return
        for name, share in self._shares.items():
            share.learn(loss_bar[name] / die_bar)

    def expected_bar(self, loss_bar: Mapping[str, float], die_bar: float) -> dict[str, float]:
        """What each loss ought to be; NaN before shares are known, or where fewer than three speak.

        Args:
            loss_bar: name → pressure lost there.
            die_bar: pressure before the die, all of which is lost in it.
        """
        shares = {name: share.median for name, share in self._shares.items()}
        flows = [die_bar]
        for name, share in shares.items():
            if share * die_bar > _ALMOST_NONE_BAR:
                flows.append(loss_bar[name] / share)
        if len(flows) < 3 or any(isnan(f) for f in flows):
            return dict.fromkeys(shares, nan)
        flow = median(flows)
        return {name: share * flow for name, share in shares.items()}

    def save(self) -> dict[str, Any]:
        """The state as JSON types."""
        return {name: share.save() for name, share in self._shares.items()}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        for name, share in self._shares.items():
            share.restore(state[name])
