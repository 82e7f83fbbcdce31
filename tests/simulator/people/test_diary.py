"""The events of a scenario: pre-analysis, acts that no tag shows, notes and marks."""

from __future__ import annotations

from simulator.people.diary import events_of
from simulator.scenarios.scenario import Analysis, Lot, Note, Scenario, Screen, Step

T0_NS = 1_900_000_000_000_000_000


def test_events_come_in_order_of_time_with_what_a_person_would_know() -> None:
    scenario = Scenario(
        "t",
        "t",
        1,
        600.0,
        steps=(
            Step(10.0, "heating on"),
            Step(20.0, "set", tag="doser.rate.sp", to=400.0),
            Step(30.0, "lot change", lot=Lot(bale="8", moisture_percent=0.9)),
            Step(40.0, "screen change", screen=Screen("S-2", 150.0)),
            Step(50.5, "take out", place=3),
        ),
        notes=(Note(35.0, "process lead", "wet"), Note(60.0, "operator", "read", "zero state confirmed")),
        pre_analysis=(Analysis("ash", 1.9, "%", "600 Cel"),),
    )
    events = events_of(scenario, T0_NS)
    assert [(round((e.time_ns - T0_NS) / 1e9, 3), e.source, e.kind, e.text) for e in events] == [
        (0.0, "laboratory", "pre-analysis", "ash 1.9 %, 600 Cel"),
        (30.0, "operator", "lot-change", "lot change: bale 8"),
        (35.0, "process lead", "note", "wet"),
        (40.0, "operator", "screen-change", "screen change: serial S-2, fineness_um 150.0"),
        (50.5, "operator", "plate-out", "take out: place 3"),
        (60.0, "operator", "mark", "read"),
    ]
    assert events[1].data == {"do": "lot change", "bale": "8"}
    assert events[5].data == {"what": "zero state confirmed"}
