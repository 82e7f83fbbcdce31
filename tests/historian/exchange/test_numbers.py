"""Numbers as panels write them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from historian.exchange._numbers import NumberForm, read_column
from historian.quality import GOOD, NO_DATA, SENSOR_FAILURE

FINITE = st.floats(allow_nan=False, allow_infinity=False)


@given(st.lists(FINITE, min_size=1), st.sampled_from([".", ","]))
def test_every_number_comes_back_bit_for_bit(values: list[float], decimal: str) -> None:
    texts = [repr(v).replace(".", decimal) for v in values]
    quick = read_column(texts, NumberForm(decimal), {})
    slow = read_column([*texts, ""], NumberForm(decimal), {})
    assert quick.value.tobytes() == slow.value[:-1].tobytes() == np.array(values).tobytes()
    assert not quick.misfits and quick.stays.all() and not slow.stays[-1]


@pytest.mark.parametrize(
    ("text", "decimal", "thousands", "number"),
    [
        ("1.234.567,5", ",", ".", 1234567.5),
        ("-1'234.5", ".", "'", -1234.5),
        (" 12,5 ", ",", "", 12.5),
        (",5", ",", "", 0.5),
        ("1e-3", ",", "", 0.001),
        ("12.34", ",", ".", None),
        ("1.5", ",", "", None),
        ("1,5", ".", "", None),
        ("1_000", ".", "", None),
        ("1e999", ".", "", None),
        ("inf", ".", "", None),
        ("0x10", ".", "", None),
        ("12 bar", ".", "", None),
        ("1-2", ".", "", None),
    ],
)
def test_nothing_but_numbers_in_the_stated_form_is_read(
    text: str, decimal: str, thousands: str, number: float | None
) -> None:
    form = NumberForm(decimal, thousands)
    for texts in ([text], [text, ""]):
        found = read_column(texts, form, {})
        assert (found.value[0] if number is not None else None) == number
        assert (0 in found.misfits) == (number is None)


def test_words_bad_cells_and_empty_ones() -> None:
    form = NumberForm(".", bad=frozenset({"---"}))
    found = read_column(["On", "OFF", "---", "", "maybe"], form, {"on": 1.0, "off": 0.0})
    assert found.value[:2].tolist() == [1.0, 0.0]
    assert found.quality.tolist()[:3] == [GOOD, GOOD, SENSOR_FAILURE]
    assert found.stays.tolist() == [True, True, True, False, False]
    assert "'maybe'" in found.misfits[4] and "off, on" in found.misfits[4]
    gaps = read_column(["", "1"], NumberForm(".", empty_is_no_data=True), {})
    assert gaps.quality.tolist() == [NO_DATA, GOOD] and gaps.stays.all() and np.isnan(gaps.value[0])
