"""What is proposed for an alarm that annoys, and what is not."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from historian.catalogue import canonical_tag
from historian.frame import NS, Series
from historian.quality import GOOD
from rules.finding import Priority
from rules.review import Known, histories
from rules.review.delays import Delays, backtest
from rules.review.proposal import LADDER_S, delays_for, proposal_for
from rules.review.telling import where_to_set
from rules.table.rule import MACHINE, Parameter, Rule
from tests.rules.review.told import MIDNIGHT, MONTH, Told, at, spells

PRESSURE = "filter.inlet.pressure.pv"
NOW = MONTH.end_ns


def rule(respond_s: float = 600, unit: str = "bar", band: str | None = "band_bar") -> Rule:
    parameters = {"over_bar": Parameter(3, unit, "x"), "band_bar": Parameter(1, unit, "x")}
    return Rule(
        "c", "c", "a", Priority.LOW, "melt filter", MACHINE, respond_s, parameters,
        set_point="over_bar", dead_band=band, on_delay="held_s",
    )  # fmt: skip


def test_chattering_asks_for_the_shortest_off_delay_that_ends_it() -> None:
    some = spells(*((600 * k + 8 * n, 600 * k + 8 * n + 3) for k in range(5) for n in range(6)))
    delays = delays_for(some, NOW)
    assert delays == Delays(on_s=0, off_s=10), (
        "the dips are 5 s long; a dip as long as the delay ends the alarm"
    )
    test = backtest(some, delays, NOW)
    assert (test.before, test.after) == (30, 5)
    assert (test.chattering_before, test.chattering_after) == (30, 0)
    assert test.later_most_s == 0


def test_fleeting_alarms_far_apart_ask_for_an_on_delay() -> None:
    some = spells(
        *((3600 * n, 3600 * n + 4) for n in range(20)), *((3600 * n + 900, 3600 * n + 1800) for n in range(5))
    )
    some.sort(key=lambda s: s.start_ns)
    delays = delays_for(some, NOW)
    assert delays == Delays(on_s=5, off_s=0)
    test = backtest(some, delays, NOW)
    assert (test.before, test.after, test.untold, test.longest_untold_s) == (25, 5, 20, 4)
    assert test.later_median_s == test.later_most_s == 5


def test_an_on_delay_is_never_longer_than_a_tenth_of_the_time_to_respond() -> None:
    some = spells(*((3600 * n, 3600 * n + 25) for n in range(20)))
    assert delays_for(some, NOW, longest_on_s=60).on_s == 30
    assert delays_for(some, NOW, longest_on_s=20).on_s == 0


def test_long_alarms_far_apart_ask_for_nothing_and_neither_do_a_few() -> None:
    assert delays_for(spells(*((3600 * n, 3600 * n + 900) for n in range(9))), NOW) == Delays()
    assert delays_for(spells((0, 2), (4, 6), (8, 10), (12, 14), (16, 18)), NOW) == Delays()
    assert delays_for([], NOW) == Delays()


@given(st.lists(st.tuples(st.integers(1, 400), st.integers(1, 400)), max_size=20))
def test_what_is_proposed_never_adds_alarms_and_is_worth_it(pairs: list[tuple[int, int]]) -> None:
    some, t = [], 0
    for gap, length in pairs:
        some.append((t + gap, t + gap + length))
        t += gap + length
    delays = delays_for(spells(*some), NOW)
    test = backtest(spells(*some), delays, NOW)
    assert test.after <= test.before
    if delays != Delays():
        assert test.saved_share >= 0.18  # 90 % of a fifth
    assert {delays.on_s, delays.off_s} <= {0.0, *LADDER_S}


def read(sigma: float):  # type: ignore[no-untyped-def]
    rng = np.random.default_rng(3)
    seconds = np.arange(-100, 4000)
    series = Series.of(MIDNIGHT + seconds * NS, rng.normal(50, sigma, len(seconds)), GOOD)

    def samples(paths: Sequence[str], start_ns: int, end_ns: int) -> Mapping[str, Series]:
        a, b = np.searchsorted(series.time_ns, [start_ns, end_ns])
        return {p: Series(series.time_ns[a:b], series.value[a:b], series.quality[a:b]) for p in paths}

    return samples


def chatterer() -> Told:
    told = Told()
    for n in range(40):
        told.spell(20 * n, 20 * n + 5)
    return told


def known(**more: object) -> Known:
    about = {"rules": {"over": rule()}, "numbers": {"over": {"band_bar": 0.7}}, "read": read(0.5)}
    return Known(**{"tags": {PRESSURE: canonical_tag(PRESSURE)}, **about, **more})  # type: ignore[arg-type]


def test_a_dead_band_follows_from_the_noise_of_the_signal_that_the_evidence_names() -> None:
    made = proposal_for(histories(chatterer().entries)[0], MONTH, known())
    assert made.band is not None
    assert made.band.value == pytest.approx(1.5, rel=0.15)
    assert (made.band.unit, made.band.now, made.band.parameter) == ("bar", 0.7, "band_bar")
    assert list(made.band.noises) == [PRESSURE]
    assert made.on_parameter == "held_s" and made.off_parameter is None
    said = where_to_set(made)
    assert "the rule has no off-delay to set" in said and "dead band: band_bar of the rule" in said


@pytest.mark.parametrize(
    "more",
    [
        {"rules": {"over": rule(unit="%")}},  # a share of something: no signal is measured in it
        {"rules": {"over": rule(unit="kg/h")}},  # no signal of the evidence has the set point's unit
        {"rules": {}},  # a rule that this version does not know
        {"tags": {}},  # the store does not hold the signal
        {"read": None},
    ],
)
def test_without_a_signal_in_the_set_points_unit_there_is_no_dead_band(more: dict[str, object]) -> None:
    assert proposal_for(histories(chatterer().entries)[0], MONTH, known(**more)).band is None


def test_hidden_spells_are_not_tested_on() -> None:
    told = chatterer()
    told.found(2000, True, root=("source-silent", "source.plc"))
    made = proposal_for(histories(told.entries)[0], MONTH, Known())
    assert made.test.before == 40 and made.nuisance.chattering == 40
    assert at(0) == MONTH.start_ns


def test_an_on_delay_never_silences_what_came_again_and_again() -> None:
    flickers = [(3600 * n, 3600 * n + 4) for n in range(20)]
    some = spells(*flickers, (90_000, 90_008), (90_010, 90_018), (90_020, 90_028))
    assert delays_for(some, NOW) == Delays(on_s=5)
    test = backtest(some, Delays(on_s=10), NOW)
    assert test.untold_repeating == 1, "ten seconds would have silenced the three that came together"


def test_a_shorter_delay_that_brings_nearly_as_much_is_preferred() -> None:
    pairs = [(1000.0 * n + 20 * k, 1000.0 * n + 20 * k + 15) for n in range(10) for k in range(4)]
    pairs.append((9000 + 3 * 20 + 15 + 100, 9000 + 3 * 20 + 15 + 130))  # one dip of 100 s among dips of 5 s
    assert delays_for(spells(*pairs), NOW).off_s == 10
    assert len(spells(*pairs)) - backtest(spells(*pairs), Delays(off_s=120), NOW).after == 31
    assert len(spells(*pairs)) - backtest(spells(*pairs), Delays(off_s=10), NOW).after == 30
