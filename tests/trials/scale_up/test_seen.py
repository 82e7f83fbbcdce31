"""What an operating point has shown, and when nothing can be scaled up from it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from process.blocking import Law
from process.blocking_fit import BlockingFit
from tests.support.made_outcome import FACTS, outcome, with_screen
from tests.support.made_traces import line, trace
from trials.scale_up import scale_up, seen_of, sentences_of, wanted_of

WANTED = wanted_of({"throughput": "1600 kg/h", "fineness": "110 um", "most_times": 5})


def test_what_the_made_up_hour_has_shown():
    """780 kg/h on 1178 cm2, from 24 to 45 bar in 218 s, wiped in 22 s."""
    seen = seen_of(outcome())
    assert seen.refused == () and seen.name == "T-1, P1"
    assert seen.flow_kg_h == pytest.approx(780) and seen.area_cm2 == 1178
    assert seen.fineness_um == 110 and seen.exponent == 0.5618 and seen.melt_cel == pytest.approx(222)
    assert seen.saw.period_s == pytest.approx(240) and seen.saw.wipe_s == pytest.approx(22, abs=1)
    assert seen.saw.trough_bar == pytest.approx(24.5, abs=0.6)
    assert seen.saw.peak_bar == pytest.approx(44.8, abs=0.3)
    assert seen.steady_s == 3600 and seen.cleanings == 13 and seen.short
    assert seen.specific_share == pytest.approx(5 / 1178, rel=0.01)
    answer = scale_up(seen, WANTED, draws=2000)
    assert answer.area_cm2 is not None and "1 h steady, 13 cleanings" in " ".join(sentences_of(answer))


def test_the_scatter_is_that_of_the_trial_where_it_is_larger():
    wide = seen_of(outcome(facts=with_screen(FACTS, area_standard_cm2=300.0)))
    assert wide.scatter.specific == pytest.approx(300 / 1178, rel=0.1)
    assert seen_of(outcome()).scatter.specific == 0.06


def test_without_steady_time_nothing_is_scaled_up():
    for none in (outcome(points=False), outcome(windows=())):
        seen = seen_of(none)
        assert "no steady window" in seen.refused[0]
        assert scale_up(seen, WANTED).area_cm2 is None


@pytest.mark.parametrize(
    ("made", "why"),
    [
        (
            {"facts": replace(FACTS, screen=None)},
            "specific throughput of the screen is not known: the screen's",
        ),
        ({"facts": replace(FACTS, screen=replace(FACTS.screen, hole_um=None))}, "fineness"),
        ({"found": []}, "No whole cleaning period"),
        (
            {"traces": {k: v for k, v in line().items() if k != "doser.rate.pv"}},
            "doser.rate.pv is not recorded",
        ),
        ({"traces": line() | {"doser.rate.pv": trace("doser.rate.pv", 20.0)}}, "is below"),
    ],
)
def test_what_is_not_known_is_named(made: dict, why: str):
    seen = seen_of(outcome(**made))
    assert any(why in one for one in seen.refused), seen.refused
    assert scale_up(seen, WANTED).area_cm2 is None


def test_where_the_holes_are_blocked_the_rule_does_not_hold():
    one = outcome()
    point = one.points[0]
    fit = BlockingFit(3.0, 2.6, 3.4, 0.2, 14, (Law.COMPLETE,))
    blocked = replace(point.figures.blocking, fit=fit, words="complete: dirt sits in the holes")
    seen = seen_of(one, replace(point, figures=replace(point.figures, blocking=blocked)))
    assert any("holds for a cake only" in why for why in seen.refused)
