"""A source counts as heard when it sent something in most of ten seconds, whatever its clock says."""

from __future__ import annotations

import json

import numpy as np
import pytest

from historian.frame import NS
from rules.seen.heard import Heard
from tests.rules.detectors.signals import tags_of

PATHS = ("filter.plate.1.i", "extruder.zone.1.i")
TAGS = {**tags_of(PATHS[:1], "filter"), **tags_of(PATHS[1:], "extruder")}


def points(first_s: int, last_s: int) -> np.ndarray:
    return np.arange(first_s, last_s + 1, dtype=np.int64) * NS


def test_a_source_that_sends_each_second_is_heard_though_its_clock_is_slow():
    heard = Heard(PATHS, TAGS)
    time_ns = points(0, 9)
    heard.note(time_ns, np.stack([time_ns, time_ns - 8 * NS], axis=1))
    assert heard.columns(9 * NS).tolist() == [True, True]


@pytest.mark.parametrize(("sends", "expected"), [(10, True), (4, True), (3, False), (0, False)])
def test_how_often_a_source_must_send(sends: int, expected: bool):
    heard = Heard(PATHS, TAGS)
    heard.note(points(0, 9), np.stack([points(0, 9), points(0, 9)], axis=1))
    heard.columns(9 * NS)
    time_ns = points(10, 19)
    own = np.minimum(time_ns, (9 + sends) * NS)
    heard.note(time_ns, np.stack([own, time_ns], axis=1))
    assert heard.columns(19 * NS).tolist() == [expected, True]


def test_a_tag_that_is_quiet_is_heard_with_its_source():
    tags = tags_of(PATHS, "plc")
    heard = Heard(PATHS, tags)
    time_ns = points(0, 9)
    heard.note(time_ns, np.stack([0 * time_ns, time_ns], axis=1))
    assert heard.columns(9 * NS).all()


def test_cuts_and_restarts_change_nothing():
    time_ns = points(0, 39)
    sampled = np.stack([np.minimum(time_ns, 22 * NS), time_ns], axis=1)
    whole = Heard(PATHS, TAGS)
    whole.note(time_ns, sampled)
    expected = [whole.columns(e * NS).tolist() for e in (9, 19, 29, 39)]
    assert expected == [[True, True], [True, True], [False, True], [False, True]]
    parts, seen = Heard(PATHS, TAGS), []
    for a in range(40):
        again = Heard(PATHS, TAGS)
        again.restore(json.loads(json.dumps(parts.save())))
        parts = again
        parts.note(time_ns[a : a + 1], sampled[a : a + 1])
        if a % 10 == 9:
            seen.append(parts.columns(a * NS).tolist())
    assert seen == expected
