"""Forms are checked key by key when they are handed in, and kept as they were written."""

from __future__ import annotations

from typing import Any

import pytest

from historian.errors import WrongInput
from historian.written import Section
from trials.forms import forms
from trials.forms.forms import filled_in, measured
from trials.forms.measures import Of

MFR = {"what": "melt-flow-rate", "value": "4.9 g/10min", "temperature": "190 Cel", "load": "5 kg"}


@pytest.mark.parametrize(
    ("form", "data"),
    [
        (forms.Material, {"polymer": "PE-LD", "form": "film agglomerate", "lot": "1", "amount": "1.2 t"}),
        (forms.PreAnalysis, MFR),
        (forms.PreAnalysis, {"what": "moisture", "value": "< 0.05 %", "method": "loss on drying, 105 Cel"}),
        (forms.Assessment, {"what": "pvc", "found": False, "how": "copper wire in a flame, three flakes"}),
        (
            forms.Plan,
            {
                "question": "Does it run at 110 um with 780 kg/h for an hour?",
                "throughput": "780 kg/h",
                "fineness": ["110 um", "0.15 mm"],
                "target": [{"figure": "throughput", "least": "750 kg/h"}],
            },
        ),
        (forms.Screen, {"serial": "S-17", "fineness": "110 um", "area": "1178 cm2", "mesh": "130 x 130"}),
        (forms.Weighing, {"gross": "14.2 kg", "tare": "1.1 kg", "minutes": "30 min"}),
        (forms.ZeroCheck, {"reading": {"filter.inlet.pressure.pv": "3.4 bar"}}),
        (forms.Bag, {"name": "B12", "net": "25 kg", "use": "held back"}),
    ],
)
def test_what_is_filled_in_rightly_is_kept_as_written(form: type[Section], data: dict[str, Any]) -> None:
    assert filled_in(form, data) == data


@pytest.mark.parametrize(
    ("form", "data", "why"),
    [
        (forms.Material, {"polymer": "PE-LD", "form": "flakes"}, "lot: Field required"),
        (
            forms.Material,
            {"polymer": "PE", "form": "flakes", "lot": "1", "colour": "red"},
            "colour: there is",
        ),
        (forms.Material, {"polymer": "PE", "form": "flakes", "lot": "1", "amount": "1200"}, "amount: "),
        (forms.PreAnalysis, {**MFR, "load": None}, "melt flow rate: tell the load"),
        (
            forms.PreAnalysis,
            {"what": "melt-flow-rate", "value": "4.9 g/10min"},
            "the temperature and the load",
        ),
        (forms.PreAnalysis, {"what": "moisture", "value": "120 %", "method": "x"}, "cannot be"),
        (forms.PreAnalysis, {"what": "moisture", "value": "wet", "method": "x"}, "'wet' is not a number"),
        (forms.Assessment, {"what": "pvc", "found": False}, "how: Field required"),
        (forms.Plan, {"question": "?", "target": [{"figure": "throughput"}]}, "at least"),
        (forms.Plan, {"question": "?", "throughput": "0 kg/h"}, "throughput: "),
        (forms.Screen, {"serial": "S", "fineness": "110 bar"}, "fineness: "),
        (forms.Weighing, {"gross": "1 kg", "tare": "1.1 kg"}, "less than the tare"),
        (forms.Photo, {"sha256": "x", "name": "a.jpg", "of": "screen"}, "sha256: "),
    ],
)
def test_what_is_wrong_is_named(form: type[Section], data: dict[str, Any], why: str) -> None:
    with pytest.raises(WrongInput, match=why):
        filled_in(form, data)


def test_the_place_is_named_where_there_is_one() -> None:
    with pytest.raises(WrongInput, match=r"^record\.json, entry 3: lot: "):
        filled_in(forms.Material, {"polymer": "PE", "form": "flakes"}, "record.json, entry 3")


def test_less_than_is_told_apart() -> None:
    assert measured("moisture", "< 500 [ppm]", Of.PELLETS) == (0.05, True)
    assert measured("moisture", "0.05 %", Of.PELLETS) == (0.05, False)
