"""Which window a verb looks at, in whatever way it is written."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest

from historian.errors import WrongInput
from historian.frame import NS
from meltledger.windows import length_ns_of, shown, time_ns_of

MADRID = ZoneInfo("Europe/Madrid")


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("8h", 28_800), ("8 h", 28_800), ("30d", 30 * 86_400), ("1.5h", 5400), ("90min", 5400)],
)
def test_a_length_of_time(text: str, seconds: int) -> None:
    assert length_ns_of(text) == seconds * NS


@pytest.mark.parametrize("text", ["", "8", "h", "-8h", "0h", "8 kg", "1.2.3h", "8 hours or so"])
def test_what_is_no_length_of_time_is_refused(text: str) -> None:
    with pytest.raises(WrongInput):
        length_ns_of(text)


def test_a_time_is_the_sites_unless_it_says_its_offset() -> None:
    assert time_ns_of("2026-07-01T12:00", MADRID) == time_ns_of("2026-07-01T10:00+00:00", MADRID)
    assert shown(time_ns_of("2026-07-01T12:00", MADRID), MADRID) == "2026-07-01 12:00:00+02:00"
    with pytest.raises(WrongInput, match="is no time"):
        time_ns_of("noon", MADRID)
