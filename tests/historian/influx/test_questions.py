"""InfluxQL, without a server."""

from __future__ import annotations

from historian.influx.questions import frames_after, last_samples, samples_between


def test_questions_stay_within_the_times_that_the_server_takes() -> None:
    question = samples_between("l", ["water.flow.pv", "water.level.pv"], -(2**70), 2**70)
    assert f"time >= {-(2**63) + 2} AND time < {2**63 - 2}" in question
    assert "(\"path\"='water.flow.pv' OR \"path\"='water.level.pv')" in question
    assert "time" not in last_samples("l")
    assert "time >" not in frames_after("l", None, 5)
    assert "time > 7 " in frames_after("l", 7, 5)
