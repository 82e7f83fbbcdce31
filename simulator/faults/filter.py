"""What goes wrong with screen, wiper and discharge of the melt filter."""

from __future__ import annotations

from simulator.faults.kind import FaultKind, Moment
from simulator.machines.upsets import Upsets

# What a cleaning leaves in the holes for good, as a share of the cake: ordinarily, and at the worst.
ORDINARY_REST = 0.006
_BLINDING_REST = 0.06
_PARK_MISS_DEG = 25.0
_SCREEN_TAGS = ("filter.dp.calc", "filter.inlet.pressure.pv")
_WIPER_TAGS = (
    "filter.wiper.torque.pv",
    "filter.wiper.angle.pv",
    "filter.wiper.speed.pv",
    "filter.wiper.state",
)


def kinds() -> dict[str, FaultKind]:
    """Faults of the filter but for its heaters."""
    return {**_of_screen(), **_of_wiper(), **_of_discharge()}


def _of_screen() -> dict[str, FaultKind]:
    return {
        # Ten cleanings of about four minutes.
        "screen_blinding": FaultKind(
            number="B11",
            text="each cleaning leaves more of the cake in the holes for good; severity 1: 6 % of it",
            tags=_SCREEN_TAGS,
            act=_leave_rest,
            severity=2,
            must_detect_within_s=2400.0,
        ),
        "cleaning_skipped": FaultKind(
            number="B14",
            text="the cleaning trigger does nothing from onset to end; severity has no meaning",
            tags=(*_SCREEN_TAGS, "filter.wiper.state"),
            act=_inhibit,
            severity=3,
            must_detect_within_s=30.0,
        ),
        "screen_torn": FaultKind(
            number="B19",
            text="the screen tears; severity 1: a hole as good as a clean screen beside what is left",
            tags=_SCREEN_TAGS,
            act=_tear,
            severity=4,
            must_detect_within_s=60.0,
        ),
    }


def _of_wiper() -> dict[str, FaultKind]:
    return {
        "blade_worn": FaultKind(
            number="B15",
            text="the wiper's blade is worn; severity 1: a cleaning takes 55 % of the cake, leaves more",
            tags=_SCREEN_TAGS,
            act=_wear_blade,
            severity=3,
            must_detect_within_s=900.0,
        ),
        "wiper_stall": FaultKind(
            number="B16",
            text="the wiper stands against its torque limit; severity has no meaning",
            tags=(*_WIPER_TAGS, "filter.dp.calc"),
            act=_stall,
            severity=4,
            must_detect_within_s=10.0,
        ),
        "wiper_slip": FaultKind(
            number="B17",
            text="the wiper's key is broken; severity 1: it turns idle and takes next to nothing",
            tags=("filter.wiper.torque.pv", "filter.dp.calc"),
            act=_slip,
            severity=4,
            must_detect_within_s=480.0,
        ),
        "park_missed": FaultKind(
            number="B18",
            text="the wiper comes to rest beside its park; severity 1: 25 degrees off",
            tags=("filter.wiper.angle.pv", "filter.wiper.park.state"),
            act=_miss_park,
            severity=3,
            must_detect_within_s=15.0,
        ),
        "park_sensor_dead": FaultKind(
            number="B18",
            text="the park sensor shows nothing, though the wiper is there; severity has no meaning",
            tags=("filter.wiper.park.state",),
            act=_blind_park,
            severity=3,
            must_detect_within_s=15.0,
        ),
    }


def _of_discharge() -> dict[str, FaultKind]:
    return {
        "discharge_blocked": FaultKind(
            number="B20",
            text="the outlet of the dirt is plugged; severity 1: nothing comes out",
            tags=(
                "filter.discharge.weight.total",
                "filter.discharge.screw.torque.pv",
                "filter.wiper.torque.pv",
            ),
            act=_block,
            severity=3,
            must_detect_within_s=540.0,
        ),
        "discharge_leak": FaultKind(
            number="B21",
            text="the outlet of the dirt does not close; severity 1: about 3 % of the melt is lost there",
            tags=("filter.discharge.weight.total",),
            act=_leak,
            severity=2,
            must_detect_within_s=2400.0,
        ),
    }


def _leave_rest(upsets: Upsets, moment: Moment) -> None:
    rest = ORDINARY_REST + (_BLINDING_REST - ORDINARY_REST) * moment.level
    upsets.rest_share = rest if upsets.rest_share is None else max(upsets.rest_share, rest)


def _inhibit(upsets: Upsets, _moment: Moment) -> None:
    upsets.trigger_inhibited = True


def _tear(upsets: Upsets, moment: Moment) -> None:
    upsets.screen_tear = max(upsets.screen_tear, moment.level)


def _wear_blade(upsets: Upsets, moment: Moment) -> None:
    upsets.blade_wear = max(upsets.blade_wear, moment.level)


def _stall(upsets: Upsets, _moment: Moment) -> None:
    upsets.wiper_stall = True


def _slip(upsets: Upsets, moment: Moment) -> None:
    upsets.wiper_slip = max(upsets.wiper_slip, moment.level)


def _miss_park(upsets: Upsets, moment: Moment) -> None:
    upsets.park_miss_deg = max(upsets.park_miss_deg, _PARK_MISS_DEG * moment.level)


def _blind_park(upsets: Upsets, _moment: Moment) -> None:
    upsets.park_sensor_dead = True


def _block(upsets: Upsets, moment: Moment) -> None:
    upsets.discharge_block = max(upsets.discharge_block, moment.level)


def _leak(upsets: Upsets, moment: Moment) -> None:
    upsets.discharge_leak = max(upsets.discharge_leak, moment.level)
