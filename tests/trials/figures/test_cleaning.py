"""Cleaning figures of an exact saw-tooth, and of cleanings that tell too little."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from process.cycles import Cycle
from rules.review import Window
from tests.support.made_traces import LENGTH_S, T0_NS, WINDOW, cycles, line, trace
from trials.figures import Figure, Trace, told
from trials.figures.cleaning import DISCHARGE, cleaning_figures, cycles_within, whole_periods
from trials.figures.trace import NS

WORKED = [(45.6, 24.1), (45.4, 24.3), (45.7, 24.4), (45.5, 24.6)]


def by_name(
    traces: dict[str, Trace], found: list[Cycle], windows: tuple[Window, ...] = WINDOW, **told_of: object
) -> dict[str, Figure]:
    return {f.name: f for f in cleaning_figures(traces, found, windows, **told_of)}  # type: ignore[arg-type]


def made_cycles(pairs: list[tuple[float, float]], periods: list[float]) -> list[Cycle]:
    starts = np.cumsum([300.0, *periods[1:]])
    return [
        Cycle(T0_NS + int(s) * NS, T0_NS + int(s + 22) * NS, p, t, period)
        for s, (p, t), period in zip(starts, pairs, periods, strict=True)
    ]


def test_an_exact_saw_tooth():
    found = by_name(line(), cycles(), clean_dp_bar=told(20.0, "clean"), dirt_share=told(0.47, "dirt"))
    assert found["cleaning period"].value == pytest.approx(240)
    assert found["scatter of the cleaning period"].value == pytest.approx(0)
    assert found["cleaning amplitude"].value == pytest.approx(20.1, abs=0.1)
    assert found["recovery"].value == pytest.approx(100 * 20.1 / 24.7, abs=0.3)
    assert found["lasting rise at a cleaning"].value == pytest.approx(0, abs=1e-9)
    assert found["discharged at a cleaning"].value == pytest.approx(1.1)
    assert found["discharge loss, gross"].value == pytest.approx(100 * 1.1 * 15 / 780)
    assert found["discharge loss, melt"].value == pytest.approx(53 * 1.1 * 15 / 780)


def test_the_worked_example_of_amplitudes_recovery_and_lasting_rise():
    """Peaks 45.6 45.4 45.7 45.5, troughs 24.1 24.3 24.4 24.6, clean 20.0; a fifth cleaning on the same line."""
    four = made_cycles(WORKED, [232, 229, 228, 226])
    found = by_name(line(), four, clean_dp_bar=told(20.0, "clean"))
    assert found["cleaning amplitude"].value == pytest.approx(np.mean([21.5, 21.1, 21.3, 20.9]))
    assert found["recovery"].value == pytest.approx(100 * np.mean([0.840, 0.831, 0.829, 0.820]), abs=0.05)
    assert "4 complete cleanings" in found["lasting rise at a cleaning"].absent
    five = made_cycles([*WORKED, (45.6, 24.1 + 4 * 0.158)], [232, 229, 228, 226, 228])
    assert by_name(line(), five)["lasting rise at a cleaning"].value == pytest.approx(0.158, abs=0.01)


def test_a_stiffer_melt_is_no_lasting_rise():
    """Pressure difference and die pressure rise together by a fifth: the screen is as it was."""
    times = np.linspace(1.0, 1.2, 12)
    stiffer = [
        Cycle(T0_NS + k * 240 * NS, T0_NS + (k * 240 + 22) * NS, 45 * x, 24 * x, 240.0, die_bar=55 * x)
        for k, x in enumerate(times.tolist())
    ]
    blind = [replace(c, die_bar=np.nan) for c in stiffer]
    with_die, without = (by_name(line(), c)["lasting rise at a cleaning"] for c in (stiffer, blind))
    assert with_die.value == pytest.approx(0, abs=1e-9) and with_die.remarks == ()
    assert without.value == pytest.approx(24 * 0.2 / 11) and "die pressure is not known" in without.remarks[0]


def test_bales_that_last_for_several_cleanings_make_the_lasting_rise_less_certain():
    rng = np.random.default_rng(11)
    scatter = rng.normal(0, 0.3, 40)
    waves = np.repeat(rng.normal(0, 0.3, 10), 4)
    alone, lasting = (
        by_name(
            line(),
            [
                Cycle(T0_NS + k * 80 * NS, T0_NS + (k * 80 + 20) * NS, 45.0, 24 + x)
                for k, x in enumerate(y.tolist())
            ],
        )
        for y in (scatter / scatter.std(), waves / waves.std())
    )
    name = "lasting rise at a cleaning"
    assert lasting[name].standard_uncertainty > 1.5 * alone[name].standard_uncertainty


def test_the_worked_example_of_the_loss():
    """1.10 kg in 228 s at 780 kg/h: 17.37 kg/h, 2.23 %."""
    found = made_cycles([(45.0, 24.0)] * 12, [np.nan, *[228.0] * 11])
    traces = line()
    at = np.array([(c.start_ns - T0_NS) // NS for c in found])
    kg = 1.10 * np.searchsorted(at, np.arange(LENGTH_S) - 30, side="right")
    traces[DISCHARGE] = trace(DISCHARGE, kg)
    assert by_name(traces, found)["discharge loss, gross"].value == pytest.approx(2.23, abs=5e-3)


def test_without_feed_the_loss_is_that_of_pellets_and_discharge_together():
    traces = line()
    del traces["doser.rate.pv"]
    assert by_name(traces, cycles())["discharge loss, gross"].value == pytest.approx(100 * 16.5 / 776.5)


def test_the_uncertainty_is_the_scatter_over_the_root_of_the_number():
    periods = [200.0, 220.0, 240.0, 260.0]
    figure = by_name(line(), made_cycles([(45.0, 24.0)] * 4, periods))["cleaning period"]
    assert figure.value == pytest.approx(230)
    assert figure.standard_uncertainty == pytest.approx(np.std(periods, ddof=1) / 2)


def test_incomplete_cleanings_and_those_outside_are_left_out():
    whole = cycles()
    broken = [
        c if k != 3 else Cycle(c.start_ns, c.end_ns, 45.0, 24.0, 240.0, flaw="cut")
        for k, c in enumerate(whole)
    ]
    assert len(cycles_within(broken, WINDOW)) == len(whole) - 1
    half = (Window(T0_NS, T0_NS + 1800 * NS),)
    assert len(cycles_within(whole, half)) == 7 and len(whole_periods(whole, half)) == 6
    # A period that began before the window, or in another one, is not whole.
    late = (Window(T0_NS + 500 * NS, T0_NS + 1800 * NS),)
    assert len(whole_periods(whole, late)) == 4
    parts = (Window(T0_NS, T0_NS + 900 * NS), Window(T0_NS + 1000 * NS, T0_NS + 1800 * NS))
    assert len(whole_periods(whole, parts)) == 4


def test_without_cleanings_scale_or_window():
    assert all(f.value is None for f in by_name(line(), []).values())
    assert "0 whole cleaning periods" in by_name(line(), [])["cleaning period"].absent
    assert "no window" in by_name(line(), cycles(), ())["cleaning period"].absent
    traces = line()
    del traces[DISCHARGE]
    found = by_name(traces, cycles())
    assert "not recorded" in found["discharge loss, gross"].absent
    assert found["recovery"].absent == "the pressure over the clean screen is not told"
    assert found["cleaning amplitude"].value is not None


def test_an_emptied_bin_costs_one_cleaning_only():
    traces = line()
    kg = traces[DISCHARGE].value.copy()
    kg[2000:] -= kg[2000]
    traces[DISCHARGE] = trace(DISCHARGE, kg)
    figure = by_name(traces, cycles())["discharged at a cleaning"]
    assert figure.value == pytest.approx(1.1) and "Indicative" in figure.remarks[0]


def test_hardly_anything_to_take_away_gives_no_recovery():
    found = by_name(line(), cycles(), clean_dp_bar=told(44.0, "clean"))
    assert found["recovery"].value is None and "hardly any pressure" in found["recovery"].absent


def test_an_uncertain_clean_screen_makes_the_recovery_uncertain():
    sure = by_name(line(), cycles(), clean_dp_bar=told(20.0, "clean"))["recovery"]
    unsure = by_name(line(), cycles(), clean_dp_bar=told(20.0, "clean", 1.0))["recovery"]
    # d E / d clean = E / (peak - clean)
    assert sure.standard_uncertainty == pytest.approx(0, abs=1e-6)
    assert unsure.standard_uncertainty == pytest.approx(sure.value / 24.7, rel=0.02)
