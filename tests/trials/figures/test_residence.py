"""Residence times of the parts of a line."""

from __future__ import annotations

import pytest

from tests.support.made_traces import WINDOW, line, trace
from trials.figures import Vessel
from trials.figures.residence import residence_figures

VESSELS = (Vessel("filter and die", 13.7, 0.137), Vessel("extruder", 11.0, filled=0.6))


def test_the_worked_example():
    """13.7 l and 60 % of 11 l at 740 kg/m3 and 780 kg/h: 46.8 s and 22.5 s; here 760 kg/h."""
    one, other = residence_figures(line(), WINDOW, VESSELS, 740)
    assert one.value == pytest.approx(46.8 * 780 / 760, abs=0.05) and one.unit == "s"
    assert other.value == pytest.approx(22.5 * 780 / 760, abs=0.1)
    assert one.name == "residence time, filter and die"


def test_what_is_not_known():
    assert residence_figures(line(), WINDOW, VESSELS, None)[0].absent == "the density of the melt is not told"
    still = {"doser.rate.pv": trace("doser.rate.pv", 0.0)}
    assert "throughput" in residence_figures(still, WINDOW, VESSELS, 740)[0].absent
    assert residence_figures(line(), WINDOW, (Vessel("nothing", 0.0),), 740)[0].value is None
    assert residence_figures(line(), WINDOW, (), 740) == []
