"""Energy for each kilogram: the whole line, the drive, the heaters, and what the melt must have taken up."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from process.energy import enthalpy_kwh_kg, specific_kwh_kg
from rules.review import Window
from trials.figures.counter import rate_per_h
from trials.figures.figure import Figure
from trials.figures.measured import Measured, derived, missing, told
from trials.figures.throughput import MELT, MaterialHeat, best
from trials.figures.trace import Traces
from trials.figures.weighting import mean

LINE_ENERGY, LINE_POWER = "line.energy.total", "line.power.pv"
DRIVE_ENERGY, DRIVE_POWER = "extruder.drive.energy.total", "extruder.drive.power.pv"
SCREW, LEAST_SCREW_PER_MIN = "extruder.screw.speed.pv", 1.0
_COUNTED = "Counter difference over the product of the same time."
_MEAN = "Mean power over throughput: no counter was read."
_UNIT = "kW.h/kg"


def power_kw(traces: Traces, counter: str, power: str, windows: Sequence[Window]) -> tuple[Measured, str]:
    """Mean power by the counter, or by the power signal when there is no counter; and the method."""
    counted = rate_per_h(traces, counter, windows)
    if counted.known:
        return counted, _COUNTED
    measured = mean(traces, power, windows)
    return (measured, _MEAN) if measured.known else (counted, _COUNTED)


def heaters_kw(traces: Traces, windows: Sequence[Window], nominal_kw: Mapping[str, float]) -> Measured:
    """Electrical heating, from the duty of each zone and its nominal power.

    Args:
        nominal_kw: path of a zone's output (``….out``) → its power at full output. Cooling counts as none.
    """
    if not nominal_kw:
        return missing("the nominal power of the heaters is not told")
    duties = [mean(traces, path, windows) for path in nominal_kw]

    def together(*percent: float) -> float:
        return sum(max(p, 0.0) / 100 * kw for p, kw in zip(percent, nominal_kw.values(), strict=True))

    return derived(together, *duties)


def energy_figures(
    traces: Traces,
    windows: Sequence[Window],
    *,
    heaters: Mapping[str, float] | None = None,
    heat: MaterialHeat | None = None,
    feed_cel: float = 20.0,
    shaft_share: Measured | None = None,
    planned_kg_h: float | None = None,
) -> list[Figure]:
    """Specific energies and how the energy balance of the melt closes.

    Args:
        heaters: path of a zone's output → nominal kW; None: not told.
        heat: of the material, for the balance.
        shaft_share: share of the drive's power that reaches the melt (motor times gear); None: not told.
    """
    flow = best(traces, windows, planned_kg_h)
    line, line_method = power_kw(traces, LINE_ENERGY, LINE_POWER, windows)
    drive, drive_method = power_kw(traces, DRIVE_ENERGY, DRIVE_POWER, windows)
    heating = heaters_kw(traces, windows, heaters or {})
    screw = mean(traces, SCREW, windows)
    screw = screw.unless(not screw.value >= LEAST_SCREW_PER_MIN, "the screw stood")
    return [
        Figure.of("specific energy, line", _UNIT, derived(specific_kwh_kg, line, flow), windows, line_method),
        Figure.of(
            "specific energy, drive", _UNIT, derived(specific_kwh_kg, drive, flow), windows, drive_method
        ),
        Figure.of(
            "specific energy, heaters",
            _UNIT,
            derived(specific_kwh_kg, heating, flow),
            windows,
            "Duty times nominal power of each zone over throughput; the mains' voltage is not known.",
        ),
        Figure.of(
            "output at each screw speed",
            "kg.min/h",
            derived(lambda rate, turns: rate / turns, flow, screw),
            windows,
            "Throughput over screw speed: it falls when the feed starves the screw, or the screw is worn.",
        ),
        _closure(traces, windows, drive, heating, flow, heat, feed_cel, shaft_share),
    ]


def _closure(
    traces: Traces,
    windows: Sequence[Window],
    drive: Measured,
    heating: Measured,
    flow: Measured,
    heat: MaterialHeat | None,
    feed_cel: float,
    shaft_share: Measured | None,
) -> Figure:
    """What the melt took up over what was brought in; the rest is lost to hall and cooling."""
    method = (
        "Heat that the melt took up over shaft energy and heating; the rest went to hall, cooling and steam."
    )
    name = "energy that the melt took up"
    if heat is None:
        unknown = missing("the heat capacity of the material is not told")
        return Figure.of(name, "%", unknown, windows, method)
    share = (
        shaft_share if shaft_share is not None else told(None, "what of the drive's power reaches the melt")
    )

    def closed(kw: float, part: float, heaters: float, rate: float, cel: float) -> float:
        taken = enthalpy_kwh_kg(feed_cel, cel, heat.heat_capacity_kj_kg_k, heat.melting_kj_kg) * rate
        return 100 * taken / (kw * part + heaters)

    measured = derived(
        closed, drive, share, heating, flow, mean(traces, MELT, windows), otherwise="no energy was brought in"
    )
    least = 100 + 2 * (measured.standard or 0.0)
    remarks = (
        ["Melt cannot take up more than was brought in: a power, a flow or the heat capacity is wrong."]
        if measured.known and measured.value > least
        else []
    )
    return Figure.of(name, "%", measured, windows, method, remarks)
