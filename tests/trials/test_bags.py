"""Which bags are suspect after a torn screen is a list, and no bag that may be is left out."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from historian.errors import WrongInput
from historian.frame import NS
from trials.bags import FilledBag, Suspicion, bags_of, suspect_bags
from trials.record import Entry, What

MIN_NS = 60 * NS


def bag(id: int, minute: int, name: str = "", **more: str) -> Entry:
    data = {"name": name or f"B{id}", **more}
    return Entry(id, 1, What.BAG, minute * MIN_NS, minute * MIN_NS, "ada", data)


BAGS = bags_of([bag(2, 20, net="25 kg"), bag(1, 10), bag(3, 30, use="reject")], 0)


def test_each_begins_where_the_one_before_was_full() -> None:
    assert [(b.name, b.from_ns // MIN_NS, b.to_ns // MIN_NS, b.net_kg, b.use) for b in BAGS] == [
        ("B1", 0, 10, None, "good"),
        ("B2", 10, 20, 25.0, "good"),
        ("B3", 20, 30, None, "reject"),
    ]


def test_a_torn_screen_reaches_the_bag_after_its_way() -> None:
    """Torn at minute 18, changed at 19; specks come five to fifteen minutes later."""
    torn = Suspicion(18 * MIN_NS, 19 * MIN_NS, (300.0, 900.0), "the screen was torn")
    (one,) = suspect_bags(BAGS, [torn])
    assert (one.bag.name, one.why) == ("B3", "the screen was torn")
    assert one.share == pytest.approx(0.7)  # from minute 23 to 30
    soon = replace(torn, lag_s=(0.0, 900.0))
    assert [s.bag.name for s in suspect_bags(BAGS, [soon])] == ["B2", "B3"]


def test_two_that_are_full_at_once_are_told() -> None:
    with pytest.raises(WrongInput, match="bags B1 and B2 were full at the same time"):
        bags_of([bag(1, 10), bag(2, 10)], 0)


@given(st.integers(0, 29), st.integers(1, 20), st.integers(0, 10), st.integers(0, 10))
def test_every_moment_of_suspicion_lies_in_a_bag_that_is_named(
    at: int, length: int, least: int, more: int
) -> None:
    one = Suspicion(at * MIN_NS, (at + length) * MIN_NS, (least * 60.0, (least + more) * 60.0), "why")
    named = {s.bag.name for s in suspect_bags(BAGS, [one])}
    moments = range(one.from_ns + least * MIN_NS, one.to_ns + (least + more) * MIN_NS, MIN_NS // 4)
    due = {b.name for b in BAGS for m in moments if b.from_ns < m < b.to_ns}
    assert due <= named


def test_no_bag_is_named_twice_for_one_reason() -> None:
    bags = [FilledBag("B1", 0, 10, None, "good")]
    assert len(suspect_bags(bags, [Suspicion(2, 3, (0.0, 0.0), "a")])) == 1
