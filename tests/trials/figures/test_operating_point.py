"""All figures of an operating point: whatever is missing, each has a value or a reason, and nothing is raised."""

from __future__ import annotations

import re
from dataclasses import replace
from math import isfinite

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from historian.units import ucum
from process.pellets import Cut
from rules.review import Window
from tests.support.made_traces import LENGTH_S, T0_NS, WINDOW, cycles, line
from trials.figures import (
    Facts,
    MaterialHeat,
    Melt,
    OperatingPoint,
    Reference,
    ScreenInUse,
    Trace,
    Vessel,
    operating_point,
    told,
)
from trials.figures.trace import NS

FACTS = Facts(
    planned_kg_h=780,
    screen=ScreenInUse(1178, 5, 0.1, 110),
    melt=Melt(0.5618, 45_000, 11_194, 190, 740),
    heat=MaterialHeat(2.5, 100, 62),
    cut=Cut(120, 2.6, 4),
    reference=Reference(780, 222),
    vessels=(Vessel("filter and die", 13.7),),
    heaters_kw={"filter.plate.1.out": 2.4, "filter.plate.2.out": 2.4},
    shaft_share=told(0.87, "shaft"),
    solid_density_kg_m3=told(920, "density", 5),
    moisture_percent=told(0.4, "moisture", 0.05),
    feed_dirt=told(0.014, "dirt of the feed", 0.001),
    discharge_dirt=told(0.47, "dirt of the discharge", 0.02),
    pellet_dirt=told(0.0036, "dirt of the pellets", 0.0004),
    clean_dp_bar=told(20.0, "clean screen", 0.5),
    moisture_samples=((T0_NS + 600 * NS, 0.08), (T0_NS + 1200 * NS, 0.09)),
    pellet_samples_ns=(T0_NS + 600 * NS, T0_NS + 1200 * NS),
)


def each_is_whole(point: OperatingPoint) -> None:
    names = [f.name for f in point.figures]
    assert len(names) == len(set(names))
    for f in point.figures:
        assert (f.value is None) == bool(f.absent), f
        assert f.value is None or isfinite(f.value), f
        assert f.standard_uncertainty is None or f.standard_uncertainty >= 0, f
        assert f.value is not None or f.standard_uncertainty is None, f
        assert f.unit and f.name and f.coverage == 2.0
        assert not f.absent.endswith("."), f  # a reason is set into a sentence by others


def test_a_whole_operating_point_has_all_figures():
    point = operating_point(line(), cycles(), WINDOW, FACTS, [])
    each_is_whole(point)
    lacking = {f.name for f in point.figures if f.value is None}
    melt = "temperature, melt {} the screen"
    even = {
        f"steadiness, {path}"
        for path in ("doser.rate.pv", "extruder.melt.temp.pv", "extruder.screw.speed.pv")
    }
    probes = {melt.format(at) + more for at in ("before", "after") for more in ("", ", spread")}
    assert lacking == even | probes
    assert point.indicative == ()
    assert point.figure("cleaning period").value == pytest.approx(240)
    with pytest.raises(KeyError):
        point.figure("beauty")


def test_units_are_ucum_codes_or_made_of_them():
    for figure in operating_point(line(), cycles(), WINDOW, FACTS, []).figures:
        for part in re.split(r"[./]", figure.unit):
            assert part in ("", "1", "cm2") or ucum(part) == part, figure.unit


def test_without_steady_time_no_figure_has_a_value_and_each_says_why():
    point = operating_point(line(), cycles(), (), FACTS, [])
    each_is_whole(point)
    assert all(f.value is None for f in point.figures)
    assert "no steady time" in point.indicative[0]


def test_without_any_tag_nothing_is_told_but_the_laboratory_and_the_journal():
    point = operating_point({}, [], WINDOW, FACTS, [])
    each_is_whole(point)
    assert {f.name for f in point.figures if f.value is not None} == {
        "pellet moisture",
        "alarms",
        "most alarms in ten minutes",
        "time with an alarm",
    }


def test_without_any_fact_each_says_what_is_not_told():
    point = operating_point(line(), cycles(), WINDOW, Facts())
    each_is_whole(point)
    assert point.figure("specific throughput of the screen").absent == "the screen's area is not told"
    assert point.figure("alarms").absent == "no rules judged this trial"


DAMAGE = st.fixed_dictionaries(
    {},
    optional={
        path: st.sampled_from(
            ["gone", "dark", "zero", "negative", "huge", "large", "holes", "late", "one sample", "empty"]
        )
        for path in line()
    },
)


def damaged(traces: dict[str, Trace], damage: dict[str, str]) -> dict[str, Trace]:
    made = dict(traces)
    for path, kind in damage.items():
        one = made.pop(path)
        if kind == "gone":
            continue
        keep = np.ones(len(one.value), bool)
        value = one.value.copy()
        second = np.arange(len(value))
        if kind in ("one sample", "empty"):
            keep[(1 if kind == "one sample" else 0) :] = False
        elif kind == "late":
            keep = second > LENGTH_S // 2
        elif kind == "holes":
            keep = second % 600 < 400
        else:
            value[:] = {"dark": np.nan, "zero": 0.0, "negative": -5.0, "huge": 1e300, "large": 1e11}[kind]
        made[path] = Trace.of(path, one.time_ns[keep], value[keep], one.calibration)
    return made


CLEANINGS = {
    "all": cycles(),
    "none": [],
    "flawed": [replace(c, flaw="cut") for c in cycles()],
    "odd": [replace(c, peak_bar=-3.0, trough_bar=7.0, period_s=np.nan) for c in cycles()],
    "flat": [replace(c, peak_bar=20.4, trough_bar=20.3) for c in cycles()],
    "two": cycles()[:2],
    "backwards": cycles()[::-1],
}
WINDOWS = {
    "hour": WINDOW,
    "half": (Window(T0_NS + 900 * NS, T0_NS + 2700 * NS),),
    "two": (Window(T0_NS, T0_NS + 900 * NS), Window(T0_NS + 1000 * NS, T0_NS + 3500 * NS)),
    "seconds": (Window(T0_NS, T0_NS + 5 * NS),),
    "elsewhere": (Window(0, 10),),
    "backwards": (Window(10, 0),),
}


@settings(max_examples=60, deadline=None)
@given(DAMAGE, st.sampled_from(list(WINDOWS)), st.sampled_from(list(CLEANINGS)))
def test_whatever_is_damaged_each_figure_has_a_value_or_a_reason(
    damage: dict[str, str], windows: str, cleanings: str
):
    each_is_whole(operating_point(damaged(line(), damage), CLEANINGS[cleanings], WINDOWS[windows], FACTS, []))


def test_the_samples_are_left_as_they_were():
    traces = line()
    before = {path: (t.time_ns.copy(), t.value.copy()) for path, t in traces.items()}
    operating_point(traces, cycles(), WINDOW, FACTS, [])
    for path, (times, values) in before.items():
        assert np.array_equal(traces[path].time_ns, times) and np.array_equal(
            traces[path].value, values, equal_nan=True
        )
