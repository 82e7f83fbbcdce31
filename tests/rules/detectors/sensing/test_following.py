"""A clogged transducer shows little of what its neighbour moves; a common dip, a zero and a dead loss do not."""

from __future__ import annotations

import json
from math import nan

import numpy as np
import pytest

from rules.detectors.sensing.following import Following
from tests.rules.detectors.sensing.days import DIE, INLET, OUTLET
from tests.rules.detectors.sensing.test_line_losses import found, line
from tests.rules.detectors.signals import Floats, seconds_of

SLOW_S = 2700
LAG_S = 60.0


def dipping(duration_s: int = 4200) -> dict[str, Floats]:
    """Every four minutes a cleaning takes a part of the melt for half a minute: outlet and die dip alike."""
    values = line(duration_s)
    second = np.arange(duration_s)
    dips = (second % 240) < 30
    values[OUTLET] -= 4.0 * dips
    values[DIE] -= 3.2 * dips
    return values


def lagged(values: Floats, since_s: int) -> Floats:
    """A first-order lag of a minute from a moment on."""
    out = values.copy()
    for at in range(since_s, len(out)):
        out[at] = out[at - 1] + (values[at] - out[at - 1]) / LAG_S
    return out


@pytest.mark.parametrize("path", [DIE, OUTLET])
def test_a_transducer_that_follows_by_a_minute_is_found_within_a_quarter_of_an_hour(path: str):
    values = dipping()
    values[path] = lagged(values[path], SLOW_S)
    late = [f for f in found(values) if f.subject.endswith(".following")]
    assert [f.subject for f in late] == [f"{path.removesuffix('.pv')}.following"]
    assert late[0].active and late[0].evidence.tags[0] == path
    assert SLOW_S < seconds_of(late[0].time_ns) <= SLOW_S + 900  # the dossier of this trade, B35
    assert "it follows late" in late[0].sentence


def test_sound_dips_smaller_dips_and_a_zero_that_is_off_are_not_late():
    values = dipping()
    values[INLET][SLOW_S:] += 0.5
    for path in (OUTLET, DIE):
        values[path] = values[path] - 0.3 * (values[path] - values[path].mean()) * (
            np.arange(len(values[path])) > SLOW_S
        )
    assert found(values) == []


def test_it_is_over_when_it_follows_again_and_a_restart_changes_nothing():
    values = dipping(6000)
    end_s = 4200
    values[DIE][:end_s] = lagged(values[DIE], SLOW_S)[:end_s]
    late = [(f.subject, f.active) for f in found(values) if f.subject.endswith(".following")]
    assert late == [("die.pressure.following", True), ("die.pressure.following", False)]


@pytest.mark.parametrize(("scale_bar", "late"), [(0.1, None), (1.0, 1)])
def test_small_movements_are_not_judged_and_a_restart_changes_nothing(scale_bar: float, late: int | None):
    chance = np.random.default_rng(5)
    one, changes = Following(0.3, 0.5), []
    for at in range(24 * 12):
        bar = 50.0 + scale_bar * float(chance.standard_normal())
        other = Following(0.3, 0.5)
        other.restore(json.loads(json.dumps(one.save())))
        changes.append(one.judge(bar, bar if at < 24 * 8 else 50.0))
        assert other.judge(bar, bar if at < 24 * 8 else 50.0) == changes[-1]
        one = other
    assert one.late is late
    assert changes.count(1) == (late is not None)


def test_what_is_not_known_teaches_nothing():
    one = Following(0.3, 0.5)
    for bar in [10.0, 12.0] * 200:
        assert one.judge(bar, nan) == 0
        assert one.judge(nan, bar) == 0
    assert np.isnan(one.usual_bar).all()


def test_two_that_grow_calm_or_uneasy_together_are_not_late():
    chance = np.random.default_rng(6)
    one = Following(0.3, 0.5)
    for at in range(24 * 20):
        scale = 1.0 if at < 240 else 0.3 if at < 360 else 3.0
        bar = 50.0 + scale * float(chance.standard_normal())
        assert one.judge(bar, 0.9 * bar) == 0
    assert one.late is None
