"""What goes wrong with one sensor, by the path of its tag; the machine's own controls see it too."""

from __future__ import annotations

from collections.abc import Mapping

from historian.catalogue import meaning_of
from simulator.faults.kind import Act, FaultKind, Moment
from simulator.machines.upsets import Upsets

# By how much a zero is off at severity 1, in the tag's unit: a twentieth to a tenth of what such a sensor
# usually shows. common practice, no source.
_ZERO_OFF: Mapping[str, float] = {
    "bar": 10.0,
    "Cel": 20.0,
    "kg/h": 100.0,
    "kW": 20.0,
    "A": 20.0,
    "%": 20.0,
    "mbar": 100.0,
    "m3/h": 5.0,
    "/min": 20.0,
    "kg": 10.0,
    "mm/s": 3.0,
    "deg": 20.0,
}
_OTHER_OFF = 1.0
_SPAN_OFF = 0.2
_SLOW_S = 60.0
_MISSING_SHARE = 0.5


def kinds() -> dict[str, FaultKind]:
    """Faults of single sensors."""
    return {
        "sensor_frozen": _kind(
            "B34", "holds its last value for ever; severity has no meaning", _freeze, 2, 900.0
        ),
        "sensor_dead": _kind("B4", "breaks, its samples are bad; severity has no meaning", _kill, 3, 5.0),
        "sensor_zero_up": _kind(
            "B35",
            "has a zero too high, or one that drifts there with a ramp; severity 1: 10 bar, 20 Cel, 20 %",
            _shift(1.0),
            2,
            900.0,
        ),
        "sensor_zero_down": _kind(
            "B35",
            "has a zero too low, or one that drifts there with a ramp; severity 1: 10 bar, 20 Cel, 20 %",
            _shift(-1.0),
            2,
            900.0,
        ),
        "sensor_span": _kind(
            "B35", "shows too much of everything; severity 1: 20 % more", _stretch, 2, 900.0
        ),
        "sensor_slow": _kind("B35", "is clogged and follows late; severity 1: by 60 s", _slow, 2, 900.0),
        "samples_missing": _kind(
            "B36", "loses samples on the way; severity 1: half of them", _lose, 2, 35.0, on_transport=True
        ),
    }


def zero_off(path: str) -> float:
    """By how much the zero of that tag's sensor is off at severity 1, in the tag's unit.

    Example:
        >>> zero_off("filter.inlet.pressure.pv"), zero_off("extruder.vent.1.pressure.pv")
        (10.0, 100.0)
    """
    meaning = meaning_of(path)
    return _OTHER_OFF if meaning is None else _ZERO_OFF.get(meaning.unit, _OTHER_OFF)


def _kind(
    number: str, text: str, act: Act, severity: int, within_s: float, *, on_transport: bool = False
) -> FaultKind:
    return FaultKind(
        number=number,
        text=f"a sensor {text}",
        tags=("{tag}",),
        act=act,
        severity=severity,
        must_detect_within_s=within_s,
        needs_tag=True,
        on_transport=on_transport,
    )


def _freeze(upsets: Upsets, moment: Moment) -> None:
    upsets.sensor(moment.order.tag).frozen = True


def _kill(upsets: Upsets, moment: Moment) -> None:
    upsets.sensor(moment.order.tag).dead = True


def _shift(sign: float) -> Act:
    def act(upsets: Upsets, moment: Moment) -> None:
        path = moment.order.tag
        upsets.sensor(path).offset += sign * zero_off(path) * moment.level

    return act


def _stretch(upsets: Upsets, moment: Moment) -> None:
    upsets.sensor(moment.order.tag).gain *= 1.0 + _SPAN_OFF * moment.level


def _slow(upsets: Upsets, moment: Moment) -> None:
    upset = upsets.sensor(moment.order.tag)
    upset.lag_s = max(upset.lag_s, _SLOW_S * moment.level)


def _lose(upsets: Upsets, moment: Moment) -> None:
    upset = upsets.sensor(moment.order.tag)
    upset.missing_share = max(upset.missing_share, _MISSING_SHARE * moment.level)
