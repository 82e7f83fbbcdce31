"""Balances of mass and dirt: how they close, and when that says nothing."""

from __future__ import annotations

import numpy as np
import pytest

from tests.support.made_traces import LENGTH_S, WINDOW, line, trace
from trials.figures import Figure, Measured, Trace, told
from trials.figures.balances import dirt_figures, mass_figures

DISCHARGE = "filter.discharge.weight.total"


def even(discharge_kg_h: float, scale_kg_h: float) -> dict[str, Trace]:
    second = np.arange(LENGTH_S)
    return line() | {
        DISCHARGE: trace(DISCHARGE, second * discharge_kg_h / 3600),
        "product.scale.total": trace("product.scale.total", second * scale_kg_h / 3600),
    }


def masses(traces: dict[str, Trace], **told_of: object) -> dict[str, Figure]:
    return {f.name: f for f in mass_figures(traces, WINDOW, **told_of)}  # type: ignore[arg-type]


def dirts(traces: dict[str, Trace], *shares: float | None) -> dict[str, Figure]:
    feed, discharge, pellet = (
        None if s is None else told(s, name, 0.02 * s)
        for s, name in zip(shares, ("in", "out", "left"), strict=True)
    )
    found = dirt_figures(traces, WINDOW, feed_share=feed, discharge_share=discharge, pellet_share=pellet)
    return {f.name: f for f in found}


def test_a_closed_balance_of_mass():
    """780 in; 9.36 steam, 17.4 discharged, the rest on the scale."""
    found = masses(even(17.4, 780 - 9.36 - 17.4), moisture_percent=told(1.2, "moisture"))
    assert found["discharge rate"].value == pytest.approx(17.4)
    assert found["mass not found again"].value == pytest.approx(0, abs=1e-9)
    assert found["mass not found again"].remarks == ()


def test_without_moisture_the_steam_is_not_found_again():
    found = masses(even(17.4, 780 - 9.36 - 17.4))["mass not found again"]
    assert found.value == pytest.approx(1.2) and "moisture of the feed is not known" in found.remarks[0]


def test_an_open_balance_is_told_against_its_uncertainty():
    found = masses(even(17.4, 700), moisture_percent=told(0.0, "moisture"))["mass not found again"]
    assert found.value == pytest.approx(100 * 62.6 / 780) and "more than the uncertainty" in found.remarks[0]
    wide = masses(even(17.4, 700), moisture_percent=Measured(0.0, {"moisture": 6.0}))["mass not found again"]
    assert wide.remarks == ()


def test_the_worked_example_of_dirt():
    found = dirts(even(17.4, 762.6), 0.014, 0.47, 2.74 / 762.6)
    assert found["opening of the dirt balance"].value == pytest.approx(0, abs=0.05)
    assert found["dirt separated"].value == pytest.approx(74.9, abs=0.05)
    # Relative: feed's share, discharge's share; the flows are exact here.
    assert found["dirt separated"].standard_uncertainty == pytest.approx(74.9 * 0.02 * np.sqrt(2), rel=0.02)


def test_an_open_balance_of_dirt_tells_no_separation():
    found = dirts(even(17.4, 762.6), 0.014, 0.47, 0.0002)
    assert found["opening of the dirt balance"].value == pytest.approx(
        100 * (10.92 - 8.178 - 0.1525) / 10.92, abs=0.01
    )
    assert found["dirt separated"].value is None and "24 % open" in found["dirt separated"].absent


def test_what_the_laboratory_has_not_told():
    found = dirts(even(17.4, 762.6), 0.014, 0.47, None)
    assert found["dirt separated"].absent == "the share of dirt in the pellets is not told"
    clean = dirts(even(17.4, 762.6), 0.0, 0.47, 0.001)
    assert clean["opening of the dirt balance"].absent == "no dirt came with the feed"
    assert clean["dirt separated"].value is None


def test_without_a_discharge_scale():
    traces = line()
    del traces[DISCHARGE]
    assert masses(traces)["mass not found again"].absent == f"{DISCHARGE} is not recorded"
