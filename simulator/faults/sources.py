"""What goes wrong between a machine's controller and whoever listens: samples late or lost, clocks off.

The line itself feels nothing of it.
"""

from __future__ import annotations

from simulator.faults.kind import Act, FaultKind, Moment
from simulator.machines.upsets import Upsets

_SKEW_S = 10.0
_JUMP_S = 60.0
_HOUR_S = 3600.0


def kinds() -> dict[str, FaultKind]:
    """Faults of whole sources of samples."""
    return {
        "source_held": _kind(
            "B36",
            "falls silent, its samples come late with their own times; severity has no meaning",
            _hold,
            3,
            35.0,
        ),
        "source_lost": _kind(
            "B36", "falls silent, its samples never come; severity has no meaning", _lose, 3, 35.0
        ),
        "clock_ahead": _kind(
            "B37",
            "has a clock that is ahead, or gets ahead with a ramp; severity 1: 10 s",
            _ahead(_SKEW_S),
            2,
            60.0,
        ),
        "clock_behind": _kind(
            "B37",
            "has a clock that is behind, or falls behind with a ramp; severity 1: 10 s",
            _ahead(-_SKEW_S),
            2,
            60.0,
        ),
        "clock_jump": _kind(
            "B37", "has a clock that jumps ahead; severity 1: 60 s", _ahead(_JUMP_S), 3, 60.0
        ),
        "clock_jump_back": _kind(
            "B37",
            "has a clock that jumps back, times come twice; severity 1: 60 s",
            _ahead(-_JUMP_S),
            3,
            60.0,
        ),
        "clock_hour": _kind(
            "B37", "takes summer time for UTC: 3600 s ahead; severity has no meaning", _hour_ahead, 3, 60.0
        ),
    }


def _kind(number: str, text: str, act: Act, severity: int, within_s: float) -> FaultKind:
    return FaultKind(
        number=number,
        text=f"a source of samples {text}",
        tags=(),
        act=act,
        severity=severity,
        must_detect_within_s=within_s,
        needs_source=True,
        on_transport=True,
    )


def _hold(upsets: Upsets, moment: Moment) -> None:
    upsets.source(moment.order.source).held = True


def _lose(upsets: Upsets, moment: Moment) -> None:
    upsets.source(moment.order.source).lost = True


def _ahead(seconds: float) -> Act:
    def act(upsets: Upsets, moment: Moment) -> None:
        upsets.source(moment.order.source).clock_s += seconds * moment.level

    return act


def _hour_ahead(upsets: Upsets, moment: Moment) -> None:
    upsets.source(moment.order.source).clock_s += _HOUR_S
