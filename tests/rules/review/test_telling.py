"""What to change, as a person reads it."""

from __future__ import annotations

from rules.review import AlarmName, Proposal
from rules.review.delays import Delays, backtest
from rules.review.noise import Noise
from rules.review.nuisance import Nuisance
from rules.review.proposal import DeadBand
from rules.review.telling import proposal_in_words, proposals_in_words
from tests.rules.review.told import at, spells

FLICKERS = [(3600.0 * n, 3600.0 * n + 4) for n in range(20)] + [(90_000.0, 90_900.0)]


def proposal(
    delays: Delays, *, origin: str = "rules", band: DeadBand | None = None, many: int = 21
) -> Proposal:
    test = backtest(spells(*FLICKERS[:many]), delays, at(200_000))
    return Proposal(
        AlarmName(origin, "over", "filter.inlet"),
        "over of filter.inlet",
        Nuisance(0, 20),
        delays,
        test,
        "held_s",
        None,
        band,
    )


def test_an_on_delay_says_how_late_and_what_would_not_be_told() -> None:
    assert proposal_in_words(proposal(Delays(on_s=5))) == [
        "An on-delay of 5 s more would have left 1 of 21 alarms, 5 s later (median), at most 5 s. "
        "Of 20 disturbances nothing would have been told; their longest spell was 4 s.",
        "Where: on-delay: held_s of the rule.",
    ]


def test_an_off_delay_makes_nothing_later_and_a_rule_may_have_none() -> None:
    said = proposal_in_words(proposal(Delays(off_s=30)))
    assert said == [
        "An off-delay of 30 s more would have left 21 of 21 alarms, none of them later.",
        "Where: the rule has no off-delay to set.",
    ]
    both = proposal_in_words(proposal(Delays(5, 30)))[0]
    assert both.startswith("An off-delay of 30 s more and an on-delay of 5 s more together would have left")


def test_a_dead_band_says_whose_noise_it_rides_out() -> None:
    band = DeadBand(1.5, "bar", {"filter.inlet.pressure.pv": Noise(0.49, 100, 5)}, 0.7, "band_bar")
    assert proposal_in_words(proposal(Delays(), band=band)) == [
        "A dead band of 1.5 bar would ride out the noise (filter.inlet.pressure.pv 0.49 bar). Now it is 0.7 bar.",
        "Where: dead band: band_bar of the rule.",
    ]


def test_a_machines_alarm_is_set_at_the_machine() -> None:
    assert (
        proposal_in_words(proposal(Delays(on_s=5), origin="press"))[-1]
        == "Where: at the machine, as its manual says."
    )


def test_the_others_are_named_in_a_line() -> None:
    lines = proposals_in_words([proposal(Delays()), proposal(Delays(), many=3), proposal(Delays(on_s=5))])
    assert lines[0] == "over of filter.inlet:" and lines[1].startswith("  An on-delay")
    assert lines[-2:] == [
        "Nothing is proposed, no delay would help much: over of filter.inlet.",
        "Nothing is proposed, fewer than 6 spells: over of filter.inlet.",
    ]
    assert proposals_in_words([]) == ["No alarm came."]
