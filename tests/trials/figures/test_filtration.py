"""The filtration load against its worked example, and what it refuses."""

from __future__ import annotations

import pytest

from process.cycles import Cycle
from tests.support.made_traces import T0_NS, WINDOW, cycles, line
from trials.figures import Melt, Reference, ScreenInUse
from trials.figures.filtration import filtration_figure
from trials.figures.trace import NS

SCREEN = ScreenInUse(1178)


def worked(count: int = 12) -> list[Cycle]:
    """Every 228 s from 23 to 45 bar."""
    starts = [T0_NS + (300 + 228 * k) * NS for k in range(count)]
    return [Cycle(s, s + 22 * NS, 45.0, 23.0, 228.0) for s in starts]


def test_the_worked_example():
    """22 bar over 49.4 kg on 1178 cm2: 524.6 bar cm2/kg."""
    found = filtration_figure(line(), worked(), WINDOW, screen=SCREEN)
    assert found.value == pytest.approx(524.6, abs=0.1) and found.unit == "bar.cm2/kg"
    assert "it is not that test" in found.remarks[0]


def test_it_is_brought_to_the_reference_where_that_is_told():
    """At 780 kg/h and 222 Cel already: nothing moves; at twice the throughput the rise goes with its power n."""
    melt = Melt(0.5, 45_000)
    here, double = (
        filtration_figure(line(), worked(), WINDOW, screen=SCREEN, melt=melt, reference=Reference(q, 222))
        for q in (780, 1560)
    )
    assert here.value == pytest.approx(524.6, abs=0.1)
    assert double.value == pytest.approx(here.value * 2**0.5) and "reference" in double.method


@pytest.mark.parametrize(
    ("some", "windows", "screen", "why"),
    [
        (worked(3), WINDOW, SCREEN, "2 whole rises"),
        (worked(), (), SCREEN, "no window"),
        (worked(), WINDOW, None, "area is not told"),
    ],
    ids=["few", "window", "area"],
)
def test_why_there_is_none(some, windows, screen, why: str):
    assert why in filtration_figure(line(), some, windows, screen=screen).absent


def test_a_cleaning_after_an_incomplete_one_has_no_rise():
    every = cycles()
    broken = [
        Cycle(c.start_ns, c.end_ns, 45.0, 24.0, 240.0, flaw="cut") if k % 2 else c
        for k, c in enumerate(every)
    ]
    assert "0 whole rises" in filtration_figure(line(), broken, WINDOW, screen=SCREEN).absent
