"""Where a line is kept."""

from __future__ import annotations

import pytest

from historian import WrongInput
from historian.influx import Place


@pytest.mark.parametrize("name", ["", "a\nb", "a\\b"])
def test_a_line_that_line_protocol_cannot_name_is_not_taken(name: str) -> None:
    with pytest.raises(WrongInput, match="cannot name a line"):
        Place("http://127.0.0.1:1", "lines", name)


def test_a_token_is_not_shown() -> None:
    place = Place("http://127.0.0.1:1", "lines", "pilot", token="secret")
    assert "secret" not in f"{place} {place!r}"
