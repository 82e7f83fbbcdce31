"""What a person may ask for, and what is refused before it reaches the journal."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard import acts
from dashboard.errors import ActRefused
from historian.frame import NS
from rules.entry import ActKind
from rules.seen import told

T0 = 1_777_874_400 * NS


def test_shelving_keeps_reason_and_end() -> None:
    act = acts.shelve("r", "s", "ana", T0, minutes=30, reason=" waiting\nfor the  electrician ")
    assert (act.what, act.reason, act.until_ns) == (
        ActKind.SHELVE,
        "waiting for the electrician",
        T0 + 1800 * NS,
    )


@pytest.mark.parametrize("minutes", [0, -5, 481, 1e9, float("nan"), float("inf"), None, "30", True, [30]])
def test_a_time_that_is_no_time_is_refused(minutes: object) -> None:
    with pytest.raises(ActRefused):
        acts.shelve("r", "s", "ana", T0, minutes=minutes, reason="reason enough")


@pytest.mark.parametrize(
    "reason", ["", "  ", "no", None, "x" * 201, "x" * 10_000_000, 7, ["why"], "\u202e\u200b\x00"]
)
def test_a_reason_that_says_nothing_or_too_much_is_refused(reason: object) -> None:
    with pytest.raises(ActRefused):
        acts.shelve("r", "s", "ana", T0, minutes=30, reason=reason)


@given(st.text(max_size=40))
def test_a_name_becomes_one_visible_line(name: str) -> None:
    made = acts.person(name)
    assert made
    assert len(made) <= 40
    assert all(c.isprintable() for c in made)


def test_only_the_marks_of_the_page_are_known() -> None:
    assert acts.mark("bale changed", "", T0).by == "at the page"
    for text in ("<script>", None, 5, "bale changed "):
        with pytest.raises(ActRefused):
            acts.mark(text, "", T0)


def test_an_undo_names_what_it_takes_back() -> None:
    act = acts.take_back(12, "bale changed", "ana", T0)
    assert (act.what, act.text, act.reason) == (ActKind.MARK, "taken back: bale changed", "act 12")


def test_what_rules_go_by_can_be_marked() -> None:
    by_rules = {told.SCREEN_CHANGED, told.MATERIAL_CHANGED, told.VENT_FLOW, told.DIE_DROOL}
    by_rules |= {told.KNIVES_CHANGED, told.BLADE_CHANGED, told.ZERO_STATE}
    assert by_rules <= set(acts.MARKS)
