"""Which way of answering stands where in a figure."""

from __future__ import annotations

from benchmarks.turns import OURS, PLAIN, Bars, time_figure, timed


def test_ours_is_judged_against_the_plain_way_and_the_others_stand_beside() -> None:
    took_ms = {OURS: 2.0, "ours, rolled": 1.0, PLAIN: 20.0, "another": 7.0}
    figure = time_figure("query", took_ms, Bars(8.0, 2.5), quick=False)
    assert (figure.name, figure.ours, figure.baseline, figure.ratio) == ("query, ms", 2.0, 20.0, 10.0)
    assert (figure.bar, figure.limit, figure.less_is_better) == (8.0, 2.5, True)
    assert figure.beside == {"another": 7.0}
    assert time_figure("query", took_ms, Bars(8.0), quick=True, of="ours, rolled").ratio == 20.0


def test_each_way_is_asked_as_often_as_said_and_told_in_milliseconds() -> None:
    asked: list[str] = []
    took_ms = timed({name: lambda name=name: asked.append(name) for name in ("a", "b")}, rounds=3)  # type: ignore[misc]
    assert asked == ["a", "b"] * 3
    assert set(took_ms) == {"a", "b"} and all(0 < ms < 1_000 for ms in took_ms.values())
