"""Where a plate without power will settle, by the thermal model that the plates' history has taught."""

from __future__ import annotations

from collections.abc import Mapping
from math import isnan, nan
from typing import Any

import numpy as np

from process.heater_fit import HeaterFit, Prior
from rules.detectors.heating.zones import Flags
from rules.seen.grid import array, numbers
from rules.seen.heat import HeatedZones
from rules.seen.line import START_S
from rules.seen.stage import Stage, Tens

_PRIOR = Prior(full_k_min=5.3, hall_per_min=0.009, neighbour_per_min=0.013, melt_per_min=0.018)
_HALL_CEL = 22.0
"""common practice, no source: plates of this size, in a hall whose temperature is not sent."""
_EACH = 6  # tens of seconds from one lesson to the next
_HALL = "room.temp.pv"
_MELT = ("filter.inlet.melt_temp.pv", "extruder.melt.temp.pv")


class PlateModel:
    """Learns once a minute, from the warming of the last two.

    Attributes:
        temp_cel, setpoint_cel: of all zones, the newest known.
    """

    def __init__(self, stage: Stage) -> None:
        self._zones: HeatedZones = stage.heat.zones
        self._fit = HeaterFit(_PRIOR, len(self._zones))
        self._hall = stage.column.get(_HALL, -1)
        self._melts = [stage.column[p] for p in _MELT if p in stage.column]
        self._outputs: list[Any] = []
        self._hall_cel, self._melt_cel, self._runs = _HALL_CEL, nan, False
        self.temp_cel = np.full(len(self._zones), nan)
        self.setpoint_cel = np.full(len(self._zones), nan)

    def take(self, tens: Tens) -> None:
        """Take ten seconds."""
        heat = tens.heat
        hall = float(tens.mean[self._hall]) if self._hall >= 0 else nan
        melt = next((float(tens.mean[c]) for c in self._melts if not isnan(tens.mean[c])), nan)
        self._hall_cel = self._hall_cel if isnan(hall) else hall
        self._melt_cel = melt
        self._runs = bool(tens.line.running)
        self.temp_cel = np.where(np.isnan(heat.temp_cel), self.temp_cel, heat.temp_cel)
        self.setpoint_cel = np.where(np.isnan(heat.setpoint_cel), self.setpoint_cel, heat.setpoint_cel)
        self._outputs.append(np.where(heat.usable, heat.out / 100, nan))
        if len(self._outputs) < 2 * _EACH:
            return
        share = np.mean(self._outputs, axis=0)
        self._outputs = self._outputs[_EACH:]
        line = tens.line
        # The first melt is colder than its probe in the steel shows.
        if line.running is None or (line.running and (isnan(melt) or line.running_s < START_S)):
            return
        temp = heat.temp_cel
        touching = self._zones.neighbours.astype(float)
        apart = touching @ np.nan_to_num(temp) - touching.sum(axis=1) * temp
        apart[touching @ np.isnan(temp).astype(float) > 0] = nan
        flow = melt - temp if self._runs else np.where(np.isnan(temp), nan, 0.0)
        self._fit.take(heat.rate_k_min, share, self._hall_cel - temp, apart, flow)

    def settles_cel(self, zone: int, out: Flags) -> float:
        """Where a zone without power goes while its neighbours hold; NaN where they are not known.

        Melt that runs at a temperature that is not known is taken to be as warm as the set-point.

        Args:
            out: which zones are out of use.
        """
        neighbours = np.flatnonzero(self._zones.neighbours[zone])
        around = np.where(out, self.temp_cel, self.setpoint_cel)[neighbours]
        melt = float(self.setpoint_cel[zone]) if isnan(self._melt_cel) else self._melt_cel
        return self._fit.asymptote_cel(zone, self._hall_cel, around.tolist(), melt if self._runs else nan)

    def save(self) -> dict[str, Any]:
        """The state as JSON types (NaN as null)."""
        return {
            "fit": self._fit.save(),
            "outputs": [numbers(r) for r in self._outputs],
            "around": [self._hall_cel, None if isnan(self._melt_cel) else self._melt_cel, self._runs],
            "temp": numbers(self.temp_cel),
            "setpoint": numbers(self.setpoint_cel),
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        self._fit.restore(state["fit"])
        self._outputs = [array(r) for r in state["outputs"]]
        self._hall_cel, melt, self._runs = state["around"]
        self._melt_cel = nan if melt is None else melt
        self.temp_cel, self.setpoint_cel = array(state["temp"]), array(state["setpoint"])
