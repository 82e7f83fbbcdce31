"""A machine's own alarms: each change told once, whatever is repeated, and closed when it is over."""

from __future__ import annotations

import json
from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from collector.machine_alarms import GONE, AlarmBook, MachineAlarm, changes

HIGH = MachineAlarm(
    "nsu=urn:m;s=High", "filter", "High", "Process", 713, True, False, True, "p high", "01", 5
)


def told(book: AlarmBook, *alarms: MachineAlarm) -> list[tuple[str, ...]]:
    return [tuple(e.data["changes"]) for a in alarms if (e := book.take(a, 9)) is not None]


def test_the_words_for_what_a_machine_does() -> None:
    now = replace(HIGH, acked=True, comment="seen", by="ada")
    assert changes(None, HIGH) == ("came",)
    assert changes(HIGH, now) == ("acknowledged", "commented")
    assert changes(now, replace(now, active=False, retain=False)) == ("returned",)
    assert changes(HIGH, replace(HIGH, shelved=True, suppressed=True)) == ("shelved", "suppressed")
    assert changes(replace(HIGH, shelved=True), replace(HIGH, shelved=False)) == ("unshelved",)
    assert changes(HIGH, replace(HIGH, message="p very high")) == ("told again, otherwise than before",)
    assert changes(None, replace(HIGH, active=False, acked=True)) == ("told",)


def test_a_repetition_is_told_once_whichever_way_the_server_repeats_itself() -> None:
    book = AlarmBook("press")
    assert told(book, HIGH, HIGH, replace(HIGH, time_ns=77), replace(HIGH, event_id="02")) == [("came",)]
    again = replace(HIGH, event_id="03", time_ns=99)
    assert told(book, again) == [("told again, otherwise than before",)]


def test_the_severity_is_the_machines_and_stands_in_the_sentence() -> None:
    event = AlarmBook("press").take(HIGH, 9)
    assert event is not None
    assert (event.kind, event.source, event.time_ns) == ("machine-alarm", "press", 9)
    assert "713 of 1000" in event.text and "p high" in event.text
    assert MachineAlarm.from_json(json.loads(json.dumps(event.data))) == HIGH


def test_a_refresh_closes_what_it_does_not_name_and_only_at_its_end() -> None:
    low = replace(HIGH, condition="s=Low", name="Low")
    book = AlarmBook("press", [HIGH, low])
    book.refresh_began()
    assert told(book, HIGH) == []
    assert len(book.standing) == 2
    (gone,) = book.refresh_ended(9)
    assert gone.data["changes"] == [GONE] and gone.data["name"] == "Low" and gone.data["retain"] is False
    assert book.standing == (HIGH,)
    assert book.refresh_ended(9) == []
    assert told(book, low) == [("came",)]


def test_a_loss_in_the_middle_of_a_refresh_closes_nothing() -> None:
    book = AlarmBook("press", [HIGH])
    book.refresh_began()
    lost = book.lost(9)
    assert lost is not None and lost.kind == "machine-alarms-unknown" and "High" in lost.text
    assert book.refresh_ended(9) == []
    assert book.standing == (HIGH,)
    assert AlarmBook("press").lost(9) is None


ALARMS = st.builds(
    MachineAlarm,
    st.sampled_from(["a", "b", "c"]),
    st.just("filter"),
    st.just("n"),
    st.just(""),
    st.sampled_from([100, 900]),
    st.booleans(),
    st.booleans(),
    st.booleans(),
    st.sampled_from(["x", "y"]),
    st.sampled_from(["01", "02", ""]),
    st.integers(0, 2),
    shelved=st.sampled_from([None, False, True]),
)


@given(st.lists(ALARMS, max_size=40))
def test_what_stands_is_what_the_machine_last_said_and_nothing_is_told_twice(
    said: list[MachineAlarm],
) -> None:
    book = AlarmBook("press")
    last: dict[str, MachineAlarm] = {}
    for alarm in said:
        event = book.take(alarm, 9)
        assert book.take(alarm, 9) is None
        before = last.get(alarm.condition)
        if event is None:
            assert before is not None
            assert replace(before, event_id="", time_ns=0) == replace(alarm, event_id="", time_ns=0)
        else:
            assert event.data["changes"]
            last[alarm.condition] = alarm
    standing = {c: replace(a, event_id="", time_ns=0) for c, a in last.items() if a.retain}
    assert {a.condition: replace(a, event_id="", time_ns=0) for a in book.standing} == standing


@given(st.lists(ALARMS, max_size=20), st.lists(ALARMS, max_size=20))
def test_after_a_refresh_exactly_what_it_named_stands(
    before: list[MachineAlarm], named: list[MachineAlarm]
) -> None:
    book = AlarmBook("press")
    for alarm in before:
        book.take(alarm, 9)
    book.refresh_began()
    for alarm in named:
        book.take(alarm, 9)
    book.refresh_ended(9)
    assert {a.condition for a in book.standing} <= {a.condition for a in named}
    last = {a.condition: a for a in named}
    assert {a.condition for a in book.standing} == {c for c, a in last.items() if a.retain}
