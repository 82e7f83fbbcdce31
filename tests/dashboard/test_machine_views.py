"""The machines at one metre."""

from __future__ import annotations

from dashboard.machine_views import machine_views, shown_tags
from dashboard.now import Now
from dashboard.pages.parts import spark_path
from dashboard.views import MachineRow, Reading
from historian.catalogue import canonical_tag
from historian.frame import NS, Series
from historian.store import Sample

T0 = 1_777_874_400 * NS
VALUES = {
    "filter.plate.1.temp.pv": 220.0,
    "filter.plate.1.temp.sp": 220.0,
    "filter.plate.1.out": 33.0,
    "filter.plate.1.enabled.state": 0.0,
    "filter.wiper.state": 1.0,
    "extruder.head.pressure.pv": 98.0,
    "doser.rate.pv": 640.0,
    "src.plc.heartbeat": 5.0,
    "own.thing.pv": 3.0,
}
TAGS = {p: canonical_tag(p, source="plc") for p in VALUES}


def now(**changes: float) -> Now:
    values = {**VALUES, **{k.replace("__", "."): v for k, v in changes.items()}}
    return Now(TAGS, {p: Sample(T0, v, 0, T0) for p, v in values.items()}, T0, "UTC")


def test_machines_stand_in_flow_order_and_unknown_ones_last() -> None:
    assert [m.name for m in machine_views(now(), {}, T0)] == ["Feed", "Extruder", "Melt filter", "Own"]


def test_a_zone_is_one_row_with_its_setpoint_output_or_that_it_is_out() -> None:
    assert "filter.plate.1.out" not in shown_tags(TAGS)
    outline = {"filter.plate.1.temp.pv": Series.of([T0 - 60 * NS, T0], [219.0, 220.0], 0)}
    rows = {r.path: r for r in machine_views(now(), outline, T0)[2].rows}
    assert rows["filter.plate.1.temp.pv"].span == "taken out"
    used = machine_views(now(filter__plate__1__enabled__state=1.0), outline, T0)[2].rows
    assert next(r.span for r in used if "plate" in r.path) == "set 220 · out 33 %"


def test_a_code_is_read_as_a_word_and_a_pressure_names_itself() -> None:
    rows = [r for m in machine_views(now(), {}, T0) for r in m.rows]
    read = {r.path: r.reading for r in rows}
    assert (read["filter.wiper.state"].text, read["filter.wiper.state"].small) == ("wiping", True)
    assert read["extruder.head.pressure.pv"].title == "Melt at the screw tip, pressure"


def test_a_gap_breaks_the_small_line() -> None:
    row = MachineRow("x.y", Reading("x.y", "X", "1", ""), ((0.0, 0.0), (0.5, 1.0), None, (1.0, 0.5)))
    assert spark_path(row) == "M0.0 26.0L60.0 2.0M120.0 14.0"
