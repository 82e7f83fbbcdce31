"""Reached, not reached, not decided: the uncertainty decides."""

from __future__ import annotations

from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest

from trials.figures import Figure
from trials.outcome.targets import Target, Verdict
from trials.report.spoken import speech_of
from trials.report.targets import words_of
from trials.report.units import System

FLOW = Figure("throughput", 780.0, "kg/h", (), "", 10.0)


@pytest.mark.parametrize(
    ("least", "most", "verdict"),
    [
        ("750 kg/h", None, Verdict.REACHED),
        ("0.75 t/h", None, Verdict.REACHED),
        ("761 kg/h", None, Verdict.UNDECIDED),
        ("799 kg/h", None, Verdict.UNDECIDED),
        ("801 kg/h", None, Verdict.NOT_REACHED),
        (None, "770 kg/h", Verdict.UNDECIDED),
        (None, "700 kg/h", Verdict.NOT_REACHED),
        ("700 kg/h", "900 kg/h", Verdict.REACHED),
        ("700 kg/h", "790 kg/h", Verdict.UNDECIDED),
        ("45 bar", None, Verdict.OTHER_UNIT),
        ("soon", None, Verdict.OTHER_UNIT),
    ],
)
def test_verdicts(least: str | None, most: str | None, verdict: Verdict) -> None:
    assert Target("throughput", least, most).verdict(FLOW) is verdict


def test_what_has_no_value_reaches_nothing() -> None:
    target = Target("throughput", "750 kg/h", None)
    assert target.verdict(None) is Verdict.NOT_SHOWN
    assert target.verdict(replace(FLOW, value=None, absent="gone")) is Verdict.NOT_SHOWN


def test_targets_are_read_in_the_readers_units() -> None:
    say = speech_of("en", ZoneInfo("UTC"), System.US)
    assert (
        words_of(Target("throughput", "780 kg/h", "soon"), "kg/h", say)
        == "at least 1720\u202flb/h, at most soon"
    )
