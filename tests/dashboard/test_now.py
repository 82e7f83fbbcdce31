"""What may be believed of the newest samples."""

from __future__ import annotations

import numpy as np
import pytest

from dashboard.now import Now
from dashboard.views import Trust
from historian.catalogue import canonical_tag
from historian.frame import NS
from historian.quality import LAST_USABLE, NO_COMMUNICATION, RANGE_EXCEEDED, SENSOR_FAILURE
from historian.store import Sample

INLET, MELT, WATER = "filter.inlet.pressure.pv", "extruder.melt.temp.pv", "water.supply.temp.pv"
T0 = 1_777_874_400 * NS
TAGS = {p: canonical_tag(p, source=s) for p, s in ((INLET, "plc"), (MELT, "plc"), (WATER, "other"))}


def now(at_s: float, **samples: Sample) -> Now:
    latest = {{"inlet": INLET, "melt": MELT, "water": WATER}[k]: v for k, v in samples.items()}
    return Now(TAGS, latest, T0 + int(at_s * NS), "UTC")


def sample(value: float = 88.0, quality: int = 0, age_s: float = 0.0) -> Sample:
    at_ns = T0 - int(age_s * NS)
    return Sample(at_ns, value, quality, at_ns)


def test_a_fresh_good_sample_is_live() -> None:
    seen = now(1, inlet=sample()).of(INLET)
    assert (seen.value, seen.trust, seen.why) == (88.0, Trust.LIVE, "")


@pytest.mark.parametrize(("at_s", "trust"), [(4.9, Trust.LIVE), (5.1, Trust.LOST)])
def test_a_source_silent_for_five_seconds_is_lost(at_s: float, trust: Trust) -> None:
    seen = now(at_s, inlet=sample()).of(INLET)
    assert seen.trust is trust
    if trust is Trust.LOST:
        assert np.isnan(seen.value)
        assert seen.why == "no data since 06:00:00 (source lost)"


def test_another_source_does_not_keep_a_silent_one_alive() -> None:
    fresh = Sample(T0 + 9 * NS, 42.0, 0, T0 + 9 * NS)
    assert now(10, inlet=sample(), water=fresh).of(INLET).trust is Trust.LOST


def test_an_unchanged_signal_of_a_live_source_stays_live_until_its_repeat_is_overdue() -> None:
    fresh = Sample(T0 + 64 * NS, 221.0, 0, T0 + 64 * NS)
    assert now(64, inlet=sample(), melt=fresh).of(INLET).trust is Trust.LIVE
    later = Sample(T0 + 66 * NS, 221.0, 0, T0 + 66 * NS)
    seen = now(66, inlet=sample(), melt=later).of(INLET)
    assert seen.why == "no data since 06:00:00 (this signal is silent)"


@pytest.mark.parametrize(
    ("quality", "words"),
    [
        (NO_COMMUNICATION, "source lost"),
        (SENSOR_FAILURE, "sensor broken"),
        (LAST_USABLE, "stale, last value kept"),
    ],
)
def test_a_bad_or_kept_value_is_never_shown(quality: int, words: str) -> None:
    seen = now(0.5, inlet=sample(quality=quality)).of(INLET)
    assert np.isnan(seen.value)
    assert seen.why == f"no data since 06:00:00 ({words})"


def test_a_doubted_value_is_shown_with_its_doubt() -> None:
    seen = now(0.5, inlet=sample(quality=RANGE_EXCEEDED)).of(INLET)
    assert (seen.value, seen.trust, seen.why) == (88.0, Trust.UNCERTAIN, "out of the sensor's range")


def test_not_yet_and_not_here_are_told_apart() -> None:
    assert now(0).of(INLET).why == "no data yet"
    assert now(0).of("die.pressure.pv").trust is Trust.ABSENT


def test_data_flow_for_thirty_seconds_after_the_last_sample() -> None:
    assert now(29, inlet=sample()).flowing
    assert not now(31, inlet=sample()).flowing
    assert not now(0).flowing
