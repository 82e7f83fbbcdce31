"""Qualities: three severities that share no code."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from historian.quality import in_words, is_bad, is_good, is_uncertain


@given(st.integers(0, 2**32 - 1))
def test_every_code_has_exactly_one_severity(code: int) -> None:
    one = np.array([code], dtype=np.uint32)
    assert int(is_good(one)[0]) + int(is_uncertain(one)[0]) + int(is_bad(one)[0]) == 1


def test_words_for_a_person() -> None:
    assert in_words(0x809B0000) == "no data"
    assert in_words(0x80310000) == "source lost"
    assert in_words(0x80350000) == "bad"
    assert in_words(0x40950000) == "uncertain"
    assert in_words(0x00960000) == "good"
