"""Pellet length and mass by calculation, moisture by samples or probe."""

from __future__ import annotations

from math import nan

import pytest

from process.pellets import Cut
from tests.support.made_traces import T0_NS, WINDOW, line, trace
from trials.figures import Figure, Trace, told
from trials.figures.pellets import pellet_figures
from trials.figures.trace import NS

CUT = Cut(120, 2.6, 4)


def by_name(traces: dict[str, Trace], **told_of: object) -> dict[str, Figure]:
    return {f.name: f for f in pellet_figures(traces, WINDOW, **told_of)}  # type: ignore[arg-type]


def test_length_and_mass_of_the_worked_example():
    """780 kg/h, 1607 1/min: 3.00 mm and 16.85 mg; here 760 kg/h."""
    found = by_name(line(), cut=CUT, solid_density_kg_m3=told(920, "density", 9.2))
    length = found["pellet length, calculated"]
    assert length.value == pytest.approx(3.00 * 760 / 780, abs=5e-3)
    assert found["pellet mass, calculated"].value == pytest.approx(16.85 * 760 / 780, abs=5e-3)
    assert length.standard_uncertainty == pytest.approx(0.01 * length.value, rel=0.02)


def test_standing_knives_or_unknown_plates():
    still = line() | {"pelletizer.knife.speed.pv": trace("pelletizer.knife.speed.pv", 0.0)}
    found = by_name(still, cut=CUT, solid_density_kg_m3=told(920, "density"))
    assert found["pellet length, calculated"].absent == "the knives stood"
    assert by_name(line())["pellet length, calculated"].absent == "die plate and knives are not told"
    assert "density" in by_name(line(), cut=CUT)["pellet length, calculated"].absent


def test_samples_in_the_window_come_before_the_probe():
    samples = [
        (T0_NS + s * NS, v) for s, v in ((-60, 9.0), (600, 0.10), (1200, 0.12), (1800, nan), (3700, 9.0))
    ]
    found = by_name(line(), moisture_samples=samples)["pellet moisture"]
    assert found.value == pytest.approx(0.11) and found.standard_uncertainty == pytest.approx(0.01)
    assert found.remarks[0].startswith("2 samples")


def test_one_sample_is_too_few_and_the_probe_stands_in():
    one = [(T0_NS + 600 * NS, 0.10)]
    assert by_name(line(), moisture_samples=one)["pellet moisture"].value == pytest.approx(0.08)
    traces = line()
    del traces["pellet.moisture.pv"]
    absent = by_name(traces, moisture_samples=one)["pellet moisture"].absent
    assert "1 samples" in absent and "not recorded" in absent
