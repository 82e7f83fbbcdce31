"""How many digits are shown: against GUM's own examples, and for any number."""

from __future__ import annotations

from decimal import Decimal
from math import floor, log10

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trials.report.numbers import as_set, power_of_ten, shown

SIZES = st.floats(1e-6, 1e7)


@pytest.mark.parametrize(
    ("value", "expanded", "as_shown"),
    [
        (780.4, 12.2, ("780", "13")),
        (0.24638, 0.0031, ("0.246", "0.004")),
        (1234.5, None, ("1230", "")),
        (9.996, None, ("10.0", "")),
        (0.0, 0.3, ("0.00", "0.30")),
        (-0.004, 0.3, ("0.00", "0.30")),
        (-2.4, 0.8, ("-2.40", "0.80")),
        # JCGM 100:2008, 7.2.6: 28.05 kHz becomes 28 kHz; 10.47 mΩ becomes 11 mΩ.
        (100.0, 28.05, ("100", "28")),
        (100.0, 10.47, ("100", "11")),
        (3.0, 400.0, ("0", "400")),
    ],
)
def test_a_value_and_its_uncertainty(value: float, expanded: float | None, as_shown: tuple[str, str]) -> None:
    assert shown(value, expanded) == as_shown


@given(SIZES, st.one_of(st.none(), SIZES))
def test_never_more_than_three_digits_and_the_truth_stays_within(
    value: float, expanded: float | None
) -> None:
    text, around = shown(value, expanded)
    written = Decimal(text)
    digits = written.as_tuple().digits
    whole = "".join(map(str, digits)).strip("0")
    assert len(whole) <= 3
    if around:
        assert expanded is not None
        assert Decimal(around) >= Decimal(expanded) * Decimal("0.95") - Decimal(repr(value)) * Decimal(
            "0.001"
        )
        off = abs(written - Decimal(repr(value)))
        assert off <= Decimal(around)
        assert len(around.replace(".", "").strip("0")) <= 2
    else:
        assert abs(written - Decimal(repr(value))) <= Decimal(10) ** (floor(log10(value)) - 2)


@given(st.floats(-1e5, 1e5))
def test_what_was_set_is_written_as_it_is(value: float) -> None:
    assert float(as_set(round(value, 1))) == pytest.approx(round(value, 1), rel=1e-5, abs=1e-12)


def test_what_is_not_known_is_refused() -> None:
    with pytest.raises(ValueError, match="not known"):
        shown(float("nan"))


@given(st.decimals(min_value="-1e9", max_value="1e9", allow_nan=False, places=6))
def test_a_power_of_ten_changes_no_number(number: Decimal) -> None:
    mantissa, exponent = power_of_ten(format(number, "f"))
    assert Decimal(mantissa).scaleb(exponent) == number
