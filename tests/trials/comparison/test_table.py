"""Trials side by side: rows, differences, what is not alike, and words that can be printed."""

from __future__ import annotations

from dataclasses import replace

import pytest

from historian.errors import WrongInput
from process.phase_names import RAMP
from process.phases import Phase
from rules.review import Window
from tests.support.made_outcome import FACTS, entry, outcome, with_screen
from tests.support.made_traces import T0_NS, line, trace
from trials.comparison import (
    Comparison,
    Side,
    Trait,
    Verdict,
    compare,
    header_of,
    rows_of,
    sentences_of,
    side_of_phase,
    side_of_point,
    side_of_windows,
    sides_of_points,
    sides_of_screens,
)
from trials.figures import Calibration, Facts, Reference, operating_point
from trials.figures.trace import NS
from trials.record.entries import What

POLYMER = [entry(1, What.MATERIAL, {"polymer": "PE-LD", "form": "film agglomerate", "lot": "1"})]


def side(name: str = "T-1", **other: object) -> Side:
    made = outcome(name, **({"entries": POLYMER} | other))  # type: ignore[arg-type]
    return side_of_point(made, made.points[0])


def pressed(bar: float, flow: float = 780.0, cel: float = 222.0) -> dict:
    """The hour with so many bar more before the screen."""
    gauge = Calibration({"gauge": 0.5})
    inlet = line()["filter.inlet.pressure.pv"].value + bar
    return line() | {
        "filter.inlet.pressure.pv": trace("filter.inlet.pressure.pv", inlet, calibration=gauge),
        "doser.rate.pv": trace("doser.rate.pv", flow),
        "extruder.melt.temp.pv": trace("extruder.melt.temp.pv", cel),
    }


def said(comparison: Comparison) -> str:
    return " ".join(sentences_of(comparison))


MEAN_DP = "pressure difference over the screen, mean"


def test_a_trial_beside_one_that_ran_at_a_higher_pressure():
    made = compare([side(traces=pressed(0)), side("T-2", traces=pressed(4))])
    row = made.row(MEAN_DP)
    (found,) = row.differences
    assert found.value == pytest.approx(4) and found.verdict is Verdict.LARGER
    first, second = row.figures
    assert first.standard_uncertainty is not None and second.standard_uncertainty is not None
    assert found.expanded == pytest.approx(
        2 * (first.standard_uncertainty**2 + second.standard_uncertainty**2) ** 0.5
    )
    assert made.unlike == ((),)
    small = compare([side(traces=pressed(0)), side("T-2", traces=pressed(0.5))]).row(MEAN_DP).differences[0]
    assert small.verdict is Verdict.WITHIN


def test_every_figure_of_either_side_has_a_row():
    made = compare([side(), side("T-2", traces={k: v for k, v in line().items() if "plate.2" not in k})])
    names = [r.name for r in made.rows]
    assert len(names) == len(set(names))
    plate = next(r for r in made.rows if r.name.startswith("temperature") and "2" in r.name)
    assert plate.figures[0].value is not None and plate.figures[1].value is None
    assert plate.differences[0].verdict is Verdict.NONE and plate.differences[0].why
    with pytest.raises(KeyError):
        made.row("beauty")


@pytest.mark.parametrize(
    ("other", "trait", "words"),
    [
        (
            {"facts": with_screen(FACTS, hole_um=150.0)},
            Trait.FINENESS,
            "110 µm in T-1, P1, 150 µm in T-2, P1",
        ),
        ({"facts": with_screen(FACTS, hole_um=None)}, Trait.FINENESS, "of T-2, P1 is not told"),
        ({"lot": "2"}, Trait.LOT, "Other lot: 1 in T-1, P1, 2 in T-2, P1."),
        ({"lot": ""}, Trait.LOT, "The lot of T-2, P1 is not told"),
        ({"entries": ()}, Trait.POLYMER, "The polymer of T-2, P1 is not told"),
    ],
)
def test_what_is_not_alike_is_told_shown_and_not_judged(other: dict, trait: Trait, words: str):
    sides = [side(traces=pressed(0)), side("T-2", **({"traces": pressed(9)} | other))]
    made = compare(sides)
    assert [u.trait for u in made.unlike[0]] == [trait] and words in said(made)
    found = made.row(MEAN_DP).differences[0]
    assert found.value == pytest.approx(9) and found.verdict is Verdict.NOT_JUDGED and words in found.why
    on_purpose = compare(sides, across=[trait])
    assert on_purpose.row(MEAN_DP).differences[0].verdict is Verdict.LARGER
    assert words in said(on_purpose) and "not judged" not in said(on_purpose)


def test_another_bale_area_or_throughput_is_told_and_does_not_keep_it_from_being_judged():
    bales = compare([side(lot="1, bale 7"), side("T-2", lot="1, bale 8")])
    assert [u.trait for u in bales.unlike[0]] == [Trait.BALE] and not bales.unlike[0][0].bars_judging
    assert "Other bale: 7 in T-1, P1, 8 in T-2, P1." in said(bales)
    made = compare([side(), side("T-2", traces=pressed(0, 700), facts=with_screen(FACTS, area_cm2=900.0))])
    assert {u.trait for u in made.unlike[0]} == {Trait.AREA, Trait.THROUGHPUT}
    assert "780 kg/h in T-1, P1, 700 kg/h in T-2, P1" in said(made)
    assert made.row("specific throughput of the screen").differences[0].verdict is not Verdict.NOT_JUDGED


def test_pressures_are_brought_to_one_reference():
    """38 bar at 228 Cel and 700 kg/h is 43.46 bar at 222 Cel and 780 kg/h: C1 of the trade's examples."""
    rising = line()["filter.inlet.pressure.pv"].value
    flat = pressed(0, 700.0, 228.0) | {
        "filter.inlet.pressure.pv": trace("filter.inlet.pressure.pv", 0 * rising + 98.0)
    }
    own = replace(FACTS, reference=Reference(700.0, 228.0))
    made = compare([side(), side("T-2", traces=flat, facts=own)])
    assert made.reference == Reference(780.0, 222.0)
    brought = made.row("pressure difference at the reference").figures[1]
    assert brought.value == pytest.approx(43.46, abs=0.01)
    assert "780 kg/h at 222 °C for all sides" in said(made)
    none = compare([side(facts=Facts()), side("T-2", facts=Facts())])
    assert none.reference is None and "at the reference:" not in said(none)


def test_phases_and_windows_of_one_trial():
    whole = outcome(entries=POLYMER)
    first = Window(T0_NS, T0_NS + 1800 * NS)
    rest = Window(T0_NS + 1800 * NS, T0_NS + 3600 * NS)
    made = compare([side_of_windows(whole, "before", [first]), side_of_windows(whole, "after", [rest])])
    assert made.unlike == ((),)
    assert made.row("throughput, doser").differences[0].value == pytest.approx(0)
    shared = compare([side_of_windows(whole, "before", [first]), side_of_point(whole, whole.points[0])])
    assert [u.trait for u in shared.unlike[0]] == [Trait.TIME] and "share 30 min" in said(shared)


def test_what_is_told_of_a_time_is_that_of_the_one_point_which_it_meets():
    whole = outcome(entries=POLYMER)
    inside = side_of_windows(whole, "inside", [Window(T0_NS + 60 * NS, T0_NS + 900 * NS)])
    assert inside.facts == FACTS and (inside.lot, inside.screen) == ("1", "S-1")
    for beside in (Window(T0_NS - 900 * NS, T0_NS), Window(T0_NS + 3600 * NS, T0_NS + 3900 * NS)):
        apart = side_of_windows(whole, "beside", [beside])
        assert apart.facts == Facts() and (apart.lot, apart.screen) == ("", "")
    twice = replace(whole, points=(whole.points[0], replace(whole.points[0], number=2)))
    assert side_of_windows(twice, "both", [Window(T0_NS, T0_NS + 900 * NS)]).facts == Facts()


def test_a_phase_that_did_not_happen_is_no_side():
    whole = outcome()
    assert side_of_phase(whole, RAMP) is None
    ramp = Phase(RAMP, T0_NS, T0_NS + 600 * NS, "made up")
    with_ramp = replace(whole, timeline=replace(whole.timeline, phases=[ramp]))
    found = side_of_phase(with_ramp, RAMP)
    assert found is not None and found.name == "T-1, ramp"
    assert found.figures.windows == (Window(T0_NS, T0_NS + 600 * NS),)


def test_screens_stand_each_by_their_longest_point():
    whole = outcome(entries=POLYMER)
    point = whole.points[0]

    def made(number: int, screen: str, seconds: int):
        windows = (Window(T0_NS, T0_NS + seconds * NS),)
        stretch = replace(point.stretches[0], number=number, windows=windows, screen=screen)
        figures = operating_point(whole.traces, whole.timeline.cleanings, windows, FACTS, [])
        return replace(point, number=number, stretches=(stretch,), figures=figures)

    many = replace(whole, points=(made(1, "S-1", 900), made(2, "S-1", 1500), made(3, "S-2", 600)))
    assert [s.name for s in sides_of_screens(many)] == ["T-1, screen S-1 (P2)", "T-1, screen S-2 (P3)"]
    assert [s.name for s in sides_of_points(many)] == ["T-1, P1", "T-1, P2", "T-1, P3"]


def test_a_comparison_needs_two_sides_with_names_of_their_own():
    with pytest.raises(WrongInput, match="needs two sides"):
        compare([side()])
    with pytest.raises(WrongInput, match="'T-1, P1' stands on two sides"):
        compare([side(), side()])


def test_rows_and_sentences_for_a_person():
    made = compare(
        [side(traces=pressed(0)), side("T-2", traces=pressed(4)), side("T-3", traces=pressed(-2), lot="9")]
    )
    header, rows = header_of(made), rows_of(made)
    assert header[:4] == ("figure", "unit", "T-1, P1", "T-2, P1") and len(header) == 9
    assert all(len(row) == len(header) for row in rows)
    row = next(r for r in rows if r[0] == MEAN_DP)
    assert row[1] == "bar" and row[4].startswith("+4 ± ") and row[5] == "larger than its uncertainty"
    assert row[7].startswith("-2 ± ") and row[8] == "not judged"
    assert not any(all(cell == "not known" for cell in (r[2], r[3], r[6])) for r in rows)
    flow = next(r for r in rows if r[0] == "throughput, doser")
    assert flow[2].startswith("780") and "e+" not in " ".join(flow)
    text = said(made)
    assert "indicative: 0 pellet samples" in text and "independent" in text
    assert "figures are known of no side" in text
    for word in ("safe", "better", "worse"):
        assert word not in text
