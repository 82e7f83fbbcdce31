"""What a line does while its screw stands: off, heating up, soaking, kept warm, shut down, opened.

common practice, no source: all limits.
"""

from __future__ import annotations

from math import isnan

from process.features import Features
from process.phase_names import HEAT_UP, OFF, SCREEN_CHANGE, SHUTDOWN, SOAK, STANDBY, UNKNOWN

_AT_SETPOINT_K = 3.0
_LEFT_SETPOINT_K = 6.0
_HEATING_UP_K = 15.0
_HOT_CEL = 100.0
_COLD_CEL = 60.0
_IDLE_PERCENT = 5.0
_WARM_K = 30.0
_LONGEST_STANDBY_S = 3600.0


def while_standing(
    f: Features, present: str, rested_s: float, *, has_run: bool, screen_told: bool
) -> tuple[str, str]:
    """The phase that the signs say, and the reason.

    Args:
        present: the present phase.
        rested_s: how long the screw has stood.
        has_run: whether it has turned since the line was last heated up.
        screen_told: whether somebody has told, since it stopped, that the screen is changed.
    """
    idle = f.most_out < _IDLE_PERCENT
    if idle and f.hottest_cel < _COLD_CEL:
        return OFF, "no heating, all zones below 60 Cel"
    heating = f.hot_share >= 0.5 or (f.most_below_k > _HEATING_UP_K and f.most_out > _IDLE_PERCENT)
    if has_run:
        if screen_told:
            return SCREEN_CHANGE, "the screen is changed, as noted"
        if idle:
            return SHUTDOWN, "screw stands, heating off"
        if f.farthest_k <= _WARM_K and rested_s <= _LONGEST_STANDBY_S:
            return STANDBY, "screw stands, zones kept warm"
        if not heating:
            return SHUTDOWN, "screw stands, zones far from their set-points"
    if heating:
        return HEAT_UP, "zones heat up"
    soaks = present == SOAK and f.farthest_k <= _LEFT_SETPOINT_K
    if f.hottest_cel > _HOT_CEL and (f.farthest_k < _AT_SETPOINT_K or soaks):
        return SOAK, "all zones at their set-points, screw stands"
    if idle and present != HEAT_UP:
        return SHUTDOWN, "heating off, still warm"
    if isnan(f.farthest_k):
        return UNKNOWN, ""
    return HEAT_UP, "zones on their way to their set-points"
