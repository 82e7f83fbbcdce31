"""A failing detector stops alone; late samples have detectors of their own."""

from __future__ import annotations

from typing import Any

from historian.frame import NS, Series
from rules.block import Block
from rules.finding import Finding
from rules.lane import Lane, LateLane, Stopped
from tests.rules.toys import PATHS, T0, Failing, Over, Silent

P, W = PATHS[0], PATHS[2]


def block(path: str, *samples: tuple[int, float]) -> Block:
    series = Series.of([T0 + t * NS for t, _ in samples], [v for _, v in samples], 0)
    return Block({path: series}, T0)


def active(found: list[Any]) -> list[bool]:
    assert all(isinstance(f, Finding) for f in found)
    return [f.active for f in found]


def test_a_failing_detector_is_named_and_stops_alone() -> None:
    lane = Lane(lambda: [Over(P, 50, 0), Failing(P, 1), Silent(W, 1)])
    found = list(lane.update(block(P, (1, 13.0), (2, 60.0))))
    assert active([found[0]]) == [True]
    assert found[1:] == [Stopped("failing", "ZeroDivisionError: thirteen", (P,))]
    assert [f.rule for f in lane.advance(T0)] == ["silent"]  # type: ignore[union-attr]
    assert [s["rule"] for s in lane.save()] == ["over", "silent"]


def test_a_finding_that_cannot_be_written_down_stops_its_detector() -> None:
    class Odd(Over):
        def _say(self, time_ns: int) -> Finding:
            found = super()._say(time_ns)
            found.evidence.figures["odd"] = (object(), "")  # type: ignore[index]
            return found

    (stopped,) = Lane(lambda: [Odd(P, 50, 0)]).update(block(P, (1, 60.0)))
    assert isinstance(stopped, Stopped) and "object" in stopped.reason


def test_states_are_matched_by_rule_and_place_and_a_misfit_is_stopped() -> None:
    lane = Lane(lambda: [Over(P, 50, 0), Over(W, 50, 0)])
    list(lane.update(block(W, (1, 60.0))))
    again = Lane(lambda: [Silent(P, 1), Over(P, 50, 0), Over(W, 50, 0)])
    assert again.restore(lane.save()) == []
    assert active(list(again.update(block(W, (2, 40.0))))) == [False]
    (stopped,) = again.restore([{"rule": "silent", "state": {}}])
    assert stopped.rule == "silent" and "does not fit" in stopped.reason
    assert [s["rule"] for s in again.save()] == ["over", "over"]


def test_nothing_is_asked_without_samples() -> None:
    class Asked(Silent):
        def update(self, block: Block) -> list[Finding]:
            raise AssertionError

    assert list(Lane(lambda: [Asked(P, 1)]).update(Block({}, T0))) == []
    assert list(LateLane(lambda: [Asked(P, 1)]).update(Block({}, T0))) == []


def test_late_findings_are_marked_and_time_that_goes_back_begins_anew() -> None:
    late = LateLane(lambda: [Over(P, 50, 0)])
    (first,) = late.update(block(P, (1, 60.0), (2, 60.0)))
    assert isinstance(first, Finding) and first.late and first.active
    assert list(late.update(block(P, (3, 60.0)))) == []
    (anew,) = late.update(block(P, (1, 70.0)))
    assert isinstance(anew, Finding) and anew.active


def test_a_sample_that_came_late_twice_is_judged_once() -> None:
    class Counting(Over):
        seen = 0

        def update(self, block: Block) -> list[Finding]:
            Counting.seen += len(block.series(P))
            return []

    late = LateLane(lambda: [Counting(P, 50, 0)])
    list(late.update(block(P, (1, 1.0), (2, 1.0))))
    list(late.update(block(P, (2, 1.0))))
    list(late.update(block(P, (2, 1.0), (3, 1.0))))
    assert Counting.seen == 3


def test_the_late_lane_goes_on_where_it_was_saved() -> None:
    late = LateLane(lambda: [Over(P, 50, 2)])
    assert late.save() is None
    list(late.update(block(P, (1, 60.0))))
    again = LateLane(lambda: [Over(P, 50, 2)])
    assert again.restore(late.save()) == []
    (found,) = again.update(block(P, (3, 60.0)))
    assert isinstance(found, Finding) and found.time_ns == T0 + 3 * NS
    assert list(again.update(block(P, (3, 60.0)))) == []
    assert list(again.update(block(P, (2, 60.0), (3, 60.0)))) == []
    (anew,) = again.update(block(P, (4, 60.0)))
    assert isinstance(anew, Finding) and anew.time_ns == T0 + 4 * NS
    assert again.restore(None) == [] and again.save() is None


def test_after_a_restart_time_that_goes_back_still_begins_anew() -> None:
    late = LateLane(lambda: [Over(P, 50, 0)])
    list(late.update(block(P, (5, 60.0))))
    again = LateLane(lambda: [Over(P, 50, 0)])
    again.restore(late.save())
    (anew,) = again.update(block(P, (1, 60.0)))
    assert isinstance(anew, Finding) and anew.active
