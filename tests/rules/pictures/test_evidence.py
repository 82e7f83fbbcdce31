"""The picture of what a rule saw: drawn from samples alone, the same every time."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import numpy as np
import pytest

from historian.frame import NS
from rules.pictures import Trace, evidence_png

MADRID = ZoneInfo("Europe/Madrid")
T0 = 1_795_600_000 * NS
TIMES = T0 + np.arange(200, dtype=np.int64) * 10 * NS
SHOWN, LOOKED = (T0, T0 + 2000 * NS), (T0 + 500 * NS, T0 + 900 * NS)


def size_of(png: bytes) -> tuple[int, int]:
    """Width and height. Source: PNG specification, 11.2.2 (IHDR)."""
    assert png.startswith(b"\x89PNG\r\n\x1a\n") and png[12:16] == b"IHDR"
    return int.from_bytes(png[16:20], "big"), int.from_bytes(png[20:24], "big")


def trace(label: str = "filter.plate.5.temp.pv", unit: str = "Cel", value: float = 220.0) -> Trace:
    return Trace(label, unit, TIMES, np.full(200, value))


def test_one_row_a_unit_and_small_enough_for_a_phone() -> None:
    one = evidence_png([trace(), trace("sp")], SHOWN, LOOKED, MADRID)
    two = evidence_png([trace(), trace("out", "%", 100.0)], SHOWN, LOOKED, MADRID)
    assert size_of(one)[0] == size_of(two)[0] == 616
    assert size_of(two)[1] > size_of(one)[1]
    assert max(len(one), len(two)) < 60_000


def test_the_same_samples_give_the_same_bytes_and_others_do_not() -> None:
    first = evidence_png([trace()], SHOWN, LOOKED, MADRID)
    assert evidence_png([trace()], SHOWN, LOOKED, MADRID) == first
    assert evidence_png([trace(value=221.0)], SHOWN, LOOKED, MADRID) != first
    assert evidence_png([trace()], SHOWN, (LOOKED[0], LOOKED[1] + 60 * NS), MADRID) != first
    assert evidence_png([trace()], SHOWN, LOOKED, ZoneInfo("UTC")) != first


@pytest.mark.parametrize("value", [float("nan"), 0.0, -1e12, 1e300])
def test_whatever_was_measured_can_be_drawn(value: float) -> None:
    assert size_of(evidence_png([trace(value=value)], SHOWN, LOOKED, MADRID))


def test_names_are_no_formulas_and_nothing_at_all_is_a_picture_too() -> None:
    assert size_of(evidence_png([trace("a $\\frac$ b_c")], SHOWN, LOOKED, MADRID))
    assert size_of(evidence_png([], SHOWN, LOOKED, MADRID))
    empty = Trace("x", "Cel", np.empty(0, np.int64), np.empty(0))
    assert size_of(evidence_png([empty], SHOWN, LOOKED, MADRID))


def test_days_are_told_on_a_long_axis() -> None:
    long = (T0, T0 + 3 * 86_400 * NS)
    assert evidence_png([trace()], long, LOOKED, MADRID) != evidence_png([trace()], SHOWN, LOOKED, MADRID)
