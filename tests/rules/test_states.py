"""The table of states is complete and printed as it is."""

from __future__ import annotations

from rules.states import HIDDEN, TABLE, AlarmEvent, State, table_as_markdown


def test_every_state_can_be_reached_and_left() -> None:
    reached = {after for (before, _), after in TABLE.items() if before is not after}
    left = {before for (before, _), after in TABLE.items() if before is not after}
    assert reached == left == set(State)


def test_every_event_is_in_the_table() -> None:
    assert {event for _, event in TABLE} == set(AlarmEvent)


def test_a_hidden_alarm_is_brought_back_by_nothing_but_its_own_end() -> None:
    for state in HIDDEN:
        exits = {event for (before, event), after in TABLE.items() if before is state and after is not state}
        assert len(exits) == 2, state


def test_the_printed_table_has_a_row_for_each_step() -> None:
    lines = table_as_markdown().splitlines()
    assert len(lines) == 2 + len(TABLE)
    assert "| B unacknowledged | seen | C acknowledged |" in lines
    assert "| F latched, acknowledged | condition true | B unacknowledged |" in lines
