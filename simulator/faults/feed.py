"""What goes wrong with the material and on its way into the screw."""

from __future__ import annotations

from math import exp

from simulator.faults.kind import FaultKind, Moment
from simulator.machines.upsets import Upsets

_DIRTY_BALE_FACTOR = 2.2
_THIN_FACTOR = 0.6
_STIFF_FACTOR = 1.5
# A new viscosity has gone through screw and filter after about three of these.
_VISCOSITY_LAG_S = 180.0
_WET_POINTS = 1.5
_LIGHT_FACTOR = 0.5
# What the melt channels hold, and what dead corners give back slowly. common practice, no source.
_CHANNEL_KG = 10.0
_CORNERS_KG = 50.0
_CORNERS_SHARE = 0.2
_RESIDUE_FACTOR = 2.0


def kinds() -> dict[str, FaultKind]:
    """Faults of material and feed."""
    return {
        "thinner_melt": FaultKind(
            number="B12",
            text="the melt gets thinner within minutes; severity 1: 60 % of its viscosity is left",
            tags=("die.pressure.pv", "filter.dp.calc", "extruder.drive.torque.pv"),
            act=_thin,
            severity=2,
            must_detect_within_s=900.0,
            lag_s=_VISCOSITY_LAG_S,
        ),
        "stiffer_melt": FaultKind(
            number="B12",
            text="the melt gets stiffer within minutes; severity 1: 1.5 times its viscosity",
            tags=("die.pressure.pv", "filter.dp.calc", "extruder.drive.torque.pv"),
            act=_stiffen,
            severity=2,
            must_detect_within_s=900.0,
            lag_s=_VISCOSITY_LAG_S,
        ),
        "contam_up": FaultKind(
            number="B13",
            text="a dirty bale; severity 1: 2.2 times the dirt",
            tags=("filter.dp.calc", "filter.wiper.state"),
            act=_bring_dirt,
            severity=2,
            must_detect_within_s=360.0,
        ),
        "throat_bridge": FaultKind(
            number="B22",
            text="the hopper bridges or the throat melts shut; severity 1: 45 % of the feed is missing",
            tags=("extruder.drive.torque.pv", "die.pressure.pv", "doser.weight.pv", "doser.rate.pv"),
            act=_bridge,
            severity=3,
            must_detect_within_s=120.0,
        ),
        "light_feed": FaultKind(
            number="B22",
            text="fluffy feed: the dosing screw hardly fills; severity 1: half the bulk density",
            tags=("doser.screw.speed.pv", "doser.rate.pv", "doser.level.pv"),
            act=_lighten,
            severity=3,
            must_detect_within_s=120.0,
        ),
        "doser_unweighed": FaultKind(
            number="B35",
            text="the doser has lost its scale and feeds by its speed alone; severity has no meaning",
            tags=("doser.mode.state", "doser.rate.pv"),
            act=_unweigh,
            severity=2,
            must_detect_within_s=900.0,
        ),
        "surging": FaultKind(
            number="B23",
            text="the bed of solids breaks up again and again; severity 1: ±9 % of the flow every 24 s",
            tags=("filter.outlet.pressure.pv", "die.pressure.pv", "extruder.drive.torque.pv"),
            act=_surge,
            severity=3,
            must_detect_within_s=600.0,
        ),
        "wet_feed": FaultKind(
            number="B33",
            text="wet feed foams; severity 1: 1.5 points more moisture",
            tags=("die.pressure.pv", "filter.outlet.pressure.pv", "extruder.vent.1.pressure.pv"),
            act=_wet,
            severity=3,
            must_detect_within_s=300.0,
        ),
        "residue": FaultKind(
            number="B40",
            text="what is left of a stiffer material before comes out; severity 1: nothing else at the onset",
            tags=("die.pressure.pv", "filter.dp.calc", "extruder.melt.temp.pv"),
            act=_leave_residue,
            severity=2,
            must_detect_within_s=300.0,
        ),
    }


def residue_share(level: float, melt_kg: float) -> float:
    """What is left of a previous material after so much melt: channels first, dead corners long after.

    Derived here: two stirred volumes side by side. A flow of 780 kg/h has washed the channels out in a few
    minutes.
    """
    channels = (1.0 - _CORNERS_SHARE) * exp(-melt_kg / _CHANNEL_KG)
    return level * (channels + _CORNERS_SHARE * exp(-melt_kg / _CORNERS_KG))


def _thin(upsets: Upsets, moment: Moment) -> None:
    upsets.viscosity_factor *= 1.0 - (1.0 - _THIN_FACTOR) * moment.level


def _stiffen(upsets: Upsets, moment: Moment) -> None:
    upsets.viscosity_factor *= 1.0 + (_STIFF_FACTOR - 1.0) * moment.level


def _bring_dirt(upsets: Upsets, moment: Moment) -> None:
    upsets.dirt_factor *= 1.0 + (_DIRTY_BALE_FACTOR - 1.0) * moment.level


def _bridge(upsets: Upsets, moment: Moment) -> None:
    upsets.feed_bridge = max(upsets.feed_bridge, moment.level)


def _lighten(upsets: Upsets, moment: Moment) -> None:
    upsets.bulk_density_factor *= 1.0 - (1.0 - _LIGHT_FACTOR) * moment.level


def _unweigh(upsets: Upsets, _moment: Moment) -> None:
    upsets.volumetric = True


def _surge(upsets: Upsets, moment: Moment) -> None:
    upsets.feed_surge = max(upsets.feed_surge, moment.level)


def _wet(upsets: Upsets, moment: Moment) -> None:
    upsets.moisture_percent = max(upsets.moisture_percent, _WET_POINTS * moment.level)


def _leave_residue(upsets: Upsets, moment: Moment) -> None:
    share = residue_share(moment.level, moment.melt_kg)
    upsets.residue_share = max(upsets.residue_share, share)
    upsets.residue_viscosity_factor = _RESIDUE_FACTOR
