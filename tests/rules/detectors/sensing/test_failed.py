"""Samples that are bad though their source delivers."""

from __future__ import annotations

import numpy as np

from historian.quality import NO_COMMUNICATION, SENSOR_FAILURE
from rules.detectors.sensing.failed import SensorFailed
from rules.finding import Finding
from tests.rules.detectors.plants import FACTS
from tests.rules.detectors.sensing.days import DIE, failed, made, running
from tests.rules.detectors.signals import Signals, every, play, seconds_of, series, states, tags_of


def found(signals: Signals) -> list[Finding]:
    return play(SensorFailed(FACTS, tags_of(signals)), every(signals, 60))


def test_a_broken_transducer_is_found_within_five_seconds():
    """common practice, no source: five seconds."""
    began, ended = found(failed())
    assert (began.subject, seconds_of(began.time_ns)) == ("die.pressure", 602)
    assert (ended.active, seconds_of(ended.time_ns)) == (False, 730)


def test_a_single_bad_sample_is_none():
    assert found(failed(600, 601)) == []


def test_a_lost_source_is_another_rules_affair():
    quality = np.zeros(1200, dtype=np.uint32)
    quality[600:900] = NO_COMMUNICATION
    assert found(made(running(1200), {DIE: quality})) == []


def test_probes_of_heated_zones_have_a_rule_of_their_own():
    quality = np.where(np.arange(900) > 600, SENSOR_FAILURE, 0)
    zone = {"filter.plate.3.temp.pv": series(np.arange(900), 220.0, quality)}
    assert found(zone) == []


def test_it_is_out_of_two_readings_the_one_that_failed():
    assert states(found(failed())) == [("die.pressure", True), ("die.pressure", False)]
