"""Currents by their samples: nothing of a short pause is lost, whatever else has come by then."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from historian.frame import NS, Series
from historian.quality import SENSOR_FAILURE
from rules.block import Block
from rules.detectors.heating.power import HeaterPower
from rules.detectors.heating.stuck_on import HeaterStuckOn
from rules.seen.current_samples import CurrentSamples
from rules.seen.rule import TensRule
from rules.seen.stage import Stage
from tests.rules.detectors.heating.made import Switched, running
from tests.rules.detectors.plants import FACTS
from tests.rules.detectors.signals import T0_NS, Staged, cut, play, series, tags_of

ONE, TWO = "filter.plate.1", "filter.plate.2"


def _amps(quality_at: int = -1) -> dict[str, Series]:
    """Ten seconds of one plate that pauses in the fourth, of another that is heard three times."""
    quality = np.zeros(10, dtype=np.uint32)
    if quality_at >= 0:
        quality[quality_at] = SENSOR_FAILURE
    return {
        ONE + ".i": series(np.arange(1, 11), [6.0, 6.1, 6.0, 0.0, 6.0, 6.0, 6.0, 6.2, 6.0, 6.0], quality),
        TWO + ".i": series([2.0, 3.0, 7.5], 5.0),
        "die.pressure.pv": series(np.arange(10), 57.0),
    }


def test_the_least_the_highest_and_the_longest_time_without_one():
    samples = CurrentSamples([ONE, TWO, "die.zone.1"])
    samples.take(Block(_amps(), T0_NS + 10 * NS))
    seen = samples.of(T0_NS, T0_NS + 10 * NS)
    assert seen.count.tolist() == [10, 3, 0]
    assert seen.low_a.tolist()[:2] == [0.0, 5.0]
    assert seen.high_a.tolist()[:2] == [6.2, 5.0]
    assert np.isnan([seen.low_a[2], seen.high_a[2]]).all()
    assert seen.gap_s.tolist() == [1.0, 4.5, 10.0]


def test_a_bad_sample_is_none():
    samples = CurrentSamples([ONE, TWO])
    samples.take(Block(_amps(quality_at=3), T0_NS + 10 * NS))
    seen = samples.of(T0_NS, T0_NS + 10 * NS)
    assert (seen.low_a[0], seen.gap_s[0], seen.count[0]) == (6.0, 2.0, 9)


@pytest.mark.parametrize("cut_s", [0.5, 4.0, 9.9])
def test_cuts_and_a_restart_change_nothing(cut_s: float):
    whole, parts = CurrentSamples([ONE, TWO]), CurrentSamples([ONE, TWO])
    whole.take(Block(_amps(), T0_NS + 10 * NS))
    for block in cut(_amps(), [cut_s]):
        parts.take(block)
        again = CurrentSamples([ONE, TWO])
        again.restore(json.loads(json.dumps(parts.save())))
        parts = again
    a, b = (s.of(T0_NS + 2 * NS, T0_NS + 9 * NS) for s in (whole, parts))
    assert a.count.tolist() == b.count.tolist() == [7, 2]
    for name in ("low_a", "high_a", "gap_s"):
        assert getattr(a, name).tolist() == getattr(b, name).tolist()


@pytest.mark.parametrize(
    ("rule", "out", "later_s", "peers_later_s"), [(HeaterPower, 25.0, 1, 6), (HeaterStuckOn, 60.0, 5, 2)]
)
def test_a_clock_that_is_ahead_elsewhere_hides_no_switching(
    rule: type[TensRule], out: float, later_s: int, peers_later_s: int
):
    """Another source stamps 7 s too late, and lots of ten seconds come: seconds 0 to 5 of ten are held in the
    grid, and in these falls the on part of one plate, the off part of another."""
    plates = Switched(1200)
    plates.out[:] = out
    ahead = "pelletizer.knife.speed.pv"
    signals = {**running(1200), **plates.made(), ahead: series(np.arange(1200), 1600.0)}
    for n in range(1, 9):
        one = signals[f"filter.plate.{n}.i"]
        shift_s = later_s if n == 2 else peers_later_s
        signals[f"filter.plate.{n}.i"] = Series(one.time_ns, np.roll(one.value, shift_s), one.quality)
    tags = tags_of(signals)
    tags[ahead] = replace(tags[ahead], source="pelletizer")
    stage = Stage(FACTS, tags)
    blocks = []
    for block in cut(signals, np.arange(10.0, 1200.0, 10.0).tolist()):
        late = {p: block.series(p) for p in block.names}
        late[ahead] = Series(late[ahead].time_ns + 7 * NS, late[ahead].value, late[ahead].quality)
        blocks.append(Block(late, block.arrival_ns))
    assert play(Staged(stage, rule(FACTS, stage)), blocks) == []
