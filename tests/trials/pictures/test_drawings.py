"""Drawings: SVG that can be read, the same twice, with gaps and without anything to draw."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from zoneinfo import ZoneInfo

import matplotlib as mpl
import numpy as np
import pytest

from trials.pictures import (
    Band,
    Curve,
    Dots,
    How,
    Row,
    Span,
    Split,
    Strip,
    scatter_svg,
    split_svg,
    stacked_svg,
    strips_svg,
)

NS = 1_000_000_000
T0 = 1_800_000_000 * NS
SHOWN = (T0, T0 + 7200 * NS)
HOW = How(ZoneInfo("Europe/Berlin"), ",", "keine Daten")
TIME = T0 + np.arange(7200, dtype=np.int64) * NS


def curve(label: str = "feed", n: int = 7200) -> Curve:
    return Curve(label, TIME[:n], np.sin(np.arange(n) / 100) + 1.5, 10)


def drawings() -> dict[str, bytes]:
    x = TIME[::600]
    dots = Dots("", x, np.linspace(0.0, 1.0, len(x)), tuple("ab" * 6))
    return {
        "stacked": stacked_svg(
            [Row("kg/h", (curve("<a> $x^2$"), curve("b"))), Row("bar", ())], SHOWN, HOW, [Band(*SHOWN, "P1")]
        ),
        "strips": strips_svg(
            [Strip("phase", (Span(*SHOWN, "steady", "steady"), Span(T0, T0, "")), {"steady": "#0072B2"})],
            SHOWN,
            HOW,
        ),
        "scatter": scatter_svg(
            [("bar", dots), ("s", Dots("", x, np.full(len(x), np.nan)))], HOW, shown_ns=SHOWN
        ),
        "quantity": scatter_svg([("%", Dots("", np.arange(12.0), np.arange(12.0) / 7))], HOW, x_axis="kg"),
        "split": split_svg([Split("P1", (("drive", 0.2, "0,200"), ("rest", 0.05, "0,050")))], "kWh/kg", HOW),
        "nothing": split_svg([], "kWh/kg", HOW),
    }


@pytest.fixture(scope="module")
def made() -> dict[str, bytes]:
    return drawings()


def test_each_is_svg_without_anything_from_elsewhere(made: dict[str, bytes]) -> None:
    for name, svg in made.items():
        root = ET.fromstring(svg)
        assert root.tag.endswith("svg"), name
        for node in root.iter():
            assert not node.tag.endswith(("script", "image", "foreignObject"))
            for key, value in node.attrib.items():
                assert not key.endswith("href") or value.startswith("#"), name


def test_each_is_the_same_twice_whatever_was_set_before(made: dict[str, bytes]) -> None:
    with mpl.rc_context({"font.size": 30, "axes.facecolor": "red"}):
        assert drawings() == made


def test_the_settings_of_the_library_stay_as_they_were() -> None:
    before = dict(mpl.rcParams)
    drawings()
    assert dict(mpl.rcParams) == before


def test_a_long_signal_makes_no_long_drawing() -> None:
    n = 200_000
    time_ns = T0 + np.arange(n, dtype=np.int64) * NS
    noisy = Curve("x", time_ns, np.random.default_rng(1).normal(size=n), 10)
    svg = stacked_svg([Row("bar", (noisy,))], (T0, T0 + n * NS), HOW)
    assert len(svg) < 120_000


def paths(svg: bytes) -> list[str]:
    return [n.attrib["d"] for n in ET.fromstring(svg).iter() if n.tag.endswith("path") and "d" in n.attrib]


def test_a_gap_breaks_the_line() -> None:
    whole, broken = curve(""), curve("")
    broken.value[3000:3600] = np.nan
    counts = []
    for one in (whole, broken):
        line = max(paths(stacked_svg([Row("", (one,))], SHOWN, HOW)), key=len)
        counts.append(line.count("M"))
    assert counts == [1, 2]
