"""Which window of time the trial page shows."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.trial_window import address, from_address, from_zoom, moved
from historian.errors import WrongInput
from historian.frame import NS

EIGHT_NS = 1_777_874_400 * NS  # 08:00 in Madrid on 4 May 2026


def test_times_without_an_offset_are_the_sites() -> None:
    asked = "?from=2026-05-04T08:00:00&to=2026-05-04T09:30:00"
    assert from_address(asked, "Europe/Madrid") == (EIGHT_NS, EIGHT_NS + 5400 * NS)
    assert from_address("?from=2026-05-04T06:00:00Z&to=2026-05-04T08:30:00+01:00", "Europe/Madrid") == (
        EIGHT_NS,
        EIGHT_NS + 5400 * NS,
    )
    assert from_address("?line=pilot-2", "Europe/Madrid") is None
    assert from_address(None, "Europe/Madrid") is None


@pytest.mark.parametrize(
    "search",
    [
        "?from=yesterday&to=today",
        "?from=2026-05-04T08:00:00",
        "?from=2026-05-04T09:00:00&to=2026-05-04T08:00:00",
        "?from=2026-05-04T08:00:00&to=2026-05-04T08:00:05",
        "?from=2020-01-01&to=2026-01-01",
        "?from=1960-01-01&to=1960-01-02",
        "?from=<script>&to=%00",
    ],
)
def test_an_address_that_makes_no_window_is_refused_with_words(search: str) -> None:
    with pytest.raises(WrongInput):
        from_address(search, "Europe/Madrid")


@given(st.integers(0, 4_000_000_000), st.integers(10, 31_000_000))
def test_an_address_leads_back_to_its_window(start_s: int, span_s: int) -> None:
    window = (start_s * NS, (start_s + span_s) * NS)
    assert from_address(address(window), "Europe/Madrid") == window


def test_a_zoom_is_read_in_either_form_and_put_back_to_utc() -> None:
    offset = 7_200_000
    wanted = (EIGHT_NS, EIGHT_NS + 3600 * NS)
    dates = {"xaxis.range[0]": "2026-05-04 08:00:00", "xaxis.range[1]": "2026-05-04 09:00"}
    assert from_zoom(dates, offset) == wanted
    numbers = [EIGHT_NS // 1_000_000 + offset, EIGHT_NS // 1_000_000 + offset + 3_600_000.0]
    assert from_zoom({"xaxis.range": numbers}, offset) == wanted


@pytest.mark.parametrize(
    "relayout",
    [
        None,
        {},
        {"autosize": True},
        {"xaxis.range[0]": "x", "xaxis.range[1]": "y"},
        {"xaxis.range": [1, 2, 3]},
    ],
)
def test_other_changes_of_the_picture_are_no_zoom(relayout: dict[str, object] | None) -> None:
    assert from_zoom(relayout, 0) is None


def test_buttons_move_the_window() -> None:
    window, whole = (1000 * NS, 2000 * NS), (0, 9000 * NS)
    assert moved(window, "later", whole) == (1500 * NS, 2500 * NS)
    assert moved(window, "earlier", whole) == (500 * NS, 1500 * NS)
    assert moved(window, "closer", whole) == (1250 * NS, 1750 * NS)
    assert moved(window, "wider", whole) == (500 * NS, 2500 * NS)
    assert moved(window, "whole", whole) == whole
    assert moved((0, 10 * NS), "closer", whole) == (0, 10 * NS)
