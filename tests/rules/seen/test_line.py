"""What the line is doing, told from a few signals on the grid."""

from __future__ import annotations

import json
from dataclasses import replace
from math import inf

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from historian.frame import Series
from historian.quality import NO_DATA
from rules.seen.line import LineState
from rules.seen.stage import Stage
from tests.rules.detectors.plants import FACTS
from tests.rules.detectors.signals import cut, every, seconds_of, series, tags_of

DURATION_S = 1500
ON_S, STEP_S, OFF_S = 200, 900, 1200


def day() -> dict[str, Series]:
    """Plates heat up, melt runs from 200 s to 1200 s, feed is set higher at 900 s, a cleaning at 1000 s."""
    t = np.arange(DURATION_S)
    runs = (t >= ON_S) & (t < OFF_S)
    feed_sp = np.where(runs, np.where(t >= STEP_S, 780.0, 640.0), 0.0)
    plates = {f"filter.plate.{n}.temp.pv": series(t, np.minimum(20.0 + t, 220.0)) for n in (1, 2)}
    set_points = {f"filter.plate.{n}.temp.sp": series(t[::30], 220.0) for n in (1, 2)}
    return {
        **plates,
        **set_points,
        "doser.rate.pv": series(t, feed_sp),
        "doser.rate.sp": series(t, feed_sp),
        "extruder.screw.speed.pv": series(t, np.where(runs, 82.0, 0.0)),
        "filter.dp.calc": series(t, np.where(runs, 30.0, 0.0)),
        "filter.wiper.state": series(t, ((t >= 1000) & (t < 1022)).astype(float)),
        "pelletizer.knife.speed.pv": series(t, np.where(runs, 1300.0, 0.0)),
    }


def states(signals: dict[str, Series]) -> dict[int, LineState]:
    """By whole ten seconds after time zero."""
    stage = Stage(FACTS, tags_of(signals))
    found = [tens.line for block in every(signals, 60) for tens in stage.see(block).tens]
    return {round(seconds_of(line.time_ns)): line for line in found}


def test_whether_melt_runs_and_since_when():
    line = states(day())
    assert line[189].running is False and line[189].running_s == 0
    assert line[259].running is True and line[259].running_s == pytest.approx(60, abs=10)
    assert line[1239].standing_s == pytest.approx(40, abs=10)


def test_heating_up_is_over_when_all_are_warm():
    line = states(day())
    assert line[99].heating_up and not line[199].heating_up


def test_changes_are_dated():
    line = states(day())
    assert line[889].feed_changed_s > 600 and line[909].feed_changed_s <= 10
    assert line[1489].heat_changed_s == inf


def test_cleanings_are_dated():
    line = states(day())
    assert (line[989].wiped_s, line[1009].wiped_s, line[1059].wiped_s) == (inf, 0, 30)


def test_why_a_rule_cannot_judge():
    line = states(day())
    reasons = {
        s: line[s].unsettled(start_s=120, settle_s=60, wipe_s=30) for s in (99, 249, 599, 929, 1019, 1299)
    }
    assert reasons == {
        99: "melt stands",
        249: "melt has only just begun to run",
        599: None,
        929: "feed or a speed was changed",
        1019: "cleaning",
        1299: "melt stands",
    }
    dark = {p: replace(s, quality=np.full(len(s), NO_DATA, np.uint32)) for p, s in day().items()}
    assert states(dark)[599].unsettled() == "it is not known whether melt runs"


def test_cutting_is_not_known_without_that_signal():
    without = {p: s for p, s in day().items() if not p.startswith("pelletizer")}
    assert states(without)[599].cutting is None and states(day())[599].cutting is True


@settings(max_examples=10, deadline=None)
@given(cuts_s=st.lists(st.floats(0, DURATION_S), max_size=30))
def test_cuts_and_restarts_change_nothing(cuts_s: list[float]):
    signals = day()
    tags = tags_of(signals)
    stage, found = Stage(FACTS, tags), []
    for block in cut(signals, cuts_s):
        text = json.dumps(stage.save(), allow_nan=False)
        stage = Stage(FACTS, tags)
        stage.restore(json.loads(text))
        found += [tens.line for tens in stage.see(block).tens]
    assert found == list(states(signals).values())


def test_what_was_seen_of_a_block_is_seen_once():
    signals = day()
    stage = Stage(FACTS, tags_of(signals))
    (block,) = cut(signals, [])
    assert stage.see(block) is stage.see(block)
    (cycle,) = [c for tens in stage.see(block).tens for c in tens.cycles]
    assert seconds_of(cycle.start_ns) == 1000 and cycle.complete
