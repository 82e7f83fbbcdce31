"""Codes on labels: the standard's check character, and what a slip does."""

from __future__ import annotations

import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

from historian.errors import WrongInput
from trials.paper.code import Code, Kind, check_character, read_code

SIGNS = string.digits + string.ascii_uppercase


def test_the_published_example_of_the_standard() -> None:
    # The example of the Global Release Identifier standard, which prescribes ISO 7064 MOD 37,36:
    # A1-2425G-ABC1234002-M (from memory).
    assert check_character("A12425GABC1234002") == "M"


@given(st.text(SIGNS, min_size=1, max_size=12), st.data())
def test_one_wrong_character_is_always_found(body: str, data: st.DataObject) -> None:
    at = data.draw(st.integers(0, len(body) - 1))
    other = data.draw(st.sampled_from([c for c in SIGNS if c != body[at]]))
    assert check_character(body[:at] + other + body[at + 1 :]) != check_character(body)


@given(st.integers(1, 10**9 - 1), st.sampled_from([Kind.SAMPLE, Kind.BAG]), st.integers(1, 999_999))
def test_a_code_reads_back(trial: int, kind: Kind, number: int) -> None:
    code = Code(trial, kind, number)
    assert read_code(code.text) == read_code(f" {code.shown.lower()} ") == code
    assert code.name == f"{kind}{number}"


def test_a_name_is_no_code_and_a_slip_is_told() -> None:
    assert [read_code(text) for text in ("P1", "", "B4", "T-2031-07", "T5", "pellets 3")] == [None] * 6
    # A T and digits may be anybody's own name.
    assert all(read_code(f"T12{n}") in (None, Code(12)) for n in range(10))
    right = Code(12, Kind.SAMPLE, 7).text
    with pytest.raises(WrongInput, match="scan or read the label again"):
        read_code(right.replace("7", "8"))
