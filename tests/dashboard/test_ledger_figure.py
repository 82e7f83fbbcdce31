"""The sheet as a plain dictionary."""

from __future__ import annotations

import base64
import itertools
import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.figures import cleanings_figure
from dashboard.ledger_figure import ledger_figure
from dashboard.ledger_lanes import escaped
from dashboard.ledger_rows import packed, spread
from dashboard.palette import DARK, LIGHT, Palette
from dashboard.views import AlarmLine, Band, Cleaning, Curve, Gap, Ledger, Row, Tick
from historian.frame import NS

T0 = 1_777_874_400 * NS
MS = T0 / 1e6


def curve(label: str = "drive", *, uncertain: bool = False, setpoint: bool = False) -> Curve:
    return Curve(
        "extruder.drive.torque.pv",
        label,
        "%",
        "torque",
        MS + 1000.0 * np.arange(4),
        np.array([64.0, 65.0, np.nan, 66.0]),
        np.array([False, uncertain, False, False]),
        step=setpoint,
        setpoint=setpoint,
    )


def ledger(**changes: object) -> Ledger:
    made: dict[str, object] = {
        "start_ns": T0,
        "end_ns": T0 + 100 * NS,
        "offset_ms": 0,
        "axis": "UTC (UTC+0)",
        "title": "T-1",
        "sentence": "",
        "phases": (Band(MS, MS + 50_000, "steady", heavy=True),),
        "settings": (Tick(MS + 5000, "400 to 640 kg/h"),),
        "alarms": (
            Band(MS + 60_000, MS + 80_000, "plate 5", "x", 2, heavy=True, key="r|s"),
            Band(MS + 80_000, MS + 90_000, "", "x", 2, key="r|s"),
        ),
        "cleanings": (Tick(MS + 9000, "", "y", 0.5),),
        "notes": (Tick(MS + 9000, "<script>alert(1)</script>", "<img src=x onerror=alert(1)>"),),
        "rows": (Row("Torque", "%", (curve(),), (Gap(MS + 1500, MS + 2500, "no data (source lost)"),)),),
        "lines": (AlarmLine("r|s", 2, "soon", "plate 5", "x", "y", False),),
    }
    return Ledger(**{**made, **changes})  # type: ignore[arg-type]


def unpacked(packed_array: dict[str, str]) -> np.ndarray:
    return np.frombuffer(base64.b64decode(packed_array["bdata"]), dtype="<f8")


@pytest.mark.parametrize("colours", [LIGHT, DARK])
def test_it_is_json_and_every_trace_has_an_axis(colours: Palette) -> None:
    figure = ledger_figure(ledger(), colours)
    json.dumps(figure, allow_nan=False)
    axes = {"y" + name.removeprefix("yaxis") for name in figure["layout"] if name.startswith("yaxis")}
    assert {trace["yaxis"] for trace in figure["data"]} <= axes
    domains = sorted(v["domain"] for k, v in figure["layout"].items() if k.startswith("yaxis"))
    assert all(0 <= low < high <= 1 for low, high in domains)
    assert all(before[1] <= after[0] for before, after in itertools.pairwise(domains))


def test_an_empty_window_is_drawn_too() -> None:
    figure = ledger_figure(ledger(phases=(), settings=(), alarms=(), cleanings=(), notes=(), rows=()), LIGHT)
    texts = [a["text"] for a in figure["layout"]["annotations"]]
    assert "none" in texts
    assert "none seen" in texts


def test_words_of_people_cannot_become_tags() -> None:
    text = json.dumps(ledger_figure(ledger(), LIGHT))
    assert "<script" not in text
    assert "<img" not in text
    assert "&lt;script&gt;" in text


@given(st.text())
def test_no_angle_bracket_survives_but_for_line_breaks(text: str) -> None:
    assert "<" not in escaped(text).replace("<br>", "")


def test_thick_before_thin_and_late_is_hollow() -> None:
    late = Band(MS + 10_000, MS + 20_000, "plate 6, found late", "x", 2, hollow=True, key="r|t", lane=1)
    figure = ledger_figure(ledger(alarms=(*ledger().alarms, late)), LIGHT)
    bars = next(t for t in figure["data"] if t.get("meta") == "alarms" and t["type"] == "bar")
    assert bars["width"][0] > bars["width"][1]
    assert bars["marker"]["color"][:2] == [LIGHT.bars[2]] * 2
    assert bars["marker"]["color"][2] == "rgba(0,0,0,0)"
    assert bars["customdata"] == ["r|s", "r|s", "r|t"]


def test_a_gap_is_hatched_and_the_line_breaks() -> None:
    figure = ledger_figure(ledger(), LIGHT)
    hatch = next(t for t in figure["data"] if "fillpattern" in t)
    assert hatch["fillpattern"]["shape"] == "/"
    assert (hatch["x"][0], hatch["x"][2]) == (MS + 1500, MS + 2500)
    line = next(t for t in figure["data"] if t.get("name") == "drive")
    assert np.isnan(unpacked(line["y"])[2])
    assert not line["connectgaps"]


def test_a_doubted_stretch_is_dotted_and_joined_to_its_neighbours() -> None:
    row = Row("Torque", "%", (curve(uncertain=True),))
    lines = [t for t in ledger_figure(ledger(rows=(row,)), LIGHT)["data"] if t.get("name") == "drive"]
    assert [t["line"]["dash"] for t in lines] == ["solid", "1px,4px"]
    assert np.isnan(unpacked(lines[0]["y"])).tolist() == [False, True, True, False]
    assert np.isnan(unpacked(lines[1]["y"])).tolist() == [False, False, True, True]


def test_a_setpoint_is_a_dotted_step() -> None:
    row = Row("Torque", "%", (curve("", setpoint=True), curve()))
    line = next(t for t in ledger_figure(ledger(rows=(row,)), LIGHT)["data"] if t.get("name") == "set-point")
    assert (line["line"]["shape"], line["line"]["dash"]) == ("hv", "dot")


def test_signals_never_wear_the_colours_of_alarms() -> None:
    for colours in (LIGHT, DARK):
        assert not set(colours.kinds.values()) & set(colours.bars[2:])
    # Okabe–Ito vermilion, orange and yellow.
    assert not {"#D55E00", "#E69F00", "#F0E442"} & {
        c.upper() for p in (LIGHT, DARK) for c in p.kinds.values()
    }


@given(st.lists(st.floats(0, 100), min_size=1, max_size=7))
def test_labels_are_apart_and_in_order(wanted: list[float]) -> None:
    placed = spread(sorted(wanted), 13, 100)
    assert all(b - a >= 13 - 1e-9 for a, b in itertools.pairwise(placed))
    assert placed[-1] <= 100


def test_packing_keeps_every_bit() -> None:
    values = np.array([MS + 0.001, np.nan, -0.0, 1e300])
    assert unpacked(packed(values)).tobytes() == values.tobytes()


def test_the_last_cleanings_with_what_is_not_known() -> None:
    cleanings = [
        Cleaning(T0, T0 + 20 * NS, 45.2, 24.9),
        Cleaning(T0 + 240 * NS, T0 + 260 * NS, float("nan"), 25.4),
    ]
    figure = cleanings_figure(cleanings, 45.0, "Europe/Madrid", LIGHT)
    json.dumps(figure, allow_nan=False)
    before, after, line = figure["data"]
    assert before["y"] == [45.2, None]
    assert after["y"] == line["y"] == [24.9, 25.4]
    assert figure["layout"]["xaxis"]["ticktext"] == ["08:00", "08:04"]
    assert any("trigger" in a["text"] for a in figure["layout"]["annotations"])
    assert cleanings_figure([], None, "UTC", DARK)["layout"]["shapes"] == []


def test_every_band_is_used_by_a_trace_or_the_library_would_leave_it_out() -> None:
    figure = ledger_figure(ledger(phases=(), settings=(), alarms=(), cleanings=(), notes=()), LIGHT)
    axes = {"y" + name.removeprefix("yaxis") for name in figure["layout"] if name.startswith("yaxis")}
    assert {trace["yaxis"] for trace in figure["data"]} == axes


def test_a_simulated_picture_says_so_also_when_it_is_saved() -> None:
    def words(simulated: bool) -> list[str]:
        drawn = ledger_figure(ledger(simulated=simulated), LIGHT)
        return [a["text"] for a in drawn["layout"]["annotations"]]

    assert "S I M U L A T E D" in words(True)
    assert "S I M U L A T E D" not in words(False)
