"""What lets the line start, what stops it and after which time, and what the operator reads of it."""

from __future__ import annotations

from collections.abc import Callable
from copy import deepcopy
from math import nan

import pytest

from simulator.controls import ControlDesign, LineControl, Message
from simulator.controls.line_control import WIPER_DRIVE, Drive
from tests.support.line_view import LineStub

SOAKED_S = 1800
_OTHERS: tuple[Drive, ...] = ("heating", "water", "knives")


class Desk:
    """The controls with a line that does what it is told, and a clock."""

    def __init__(self, design: ControlDesign | None = None) -> None:
        self.controls = LineControl(design)
        self.view = LineStub()
        self.now_s = 0.0
        self.said: list[Message] = []

    def go(self, seconds: float, dt_s: float = 1.0) -> None:
        for _ in range(round(seconds / dt_s)):
            self.now_s += dt_s
            self.controls.step(dt_s, self.now_s, self.view)
            self.said += self.controls.take_messages()

    def started(self) -> Desk:
        """In production."""
        for drive in _OTHERS:
            self.controls.order(drive, True)
        self.go(SOAKED_S)
        self.controls.order("screw", True)
        self.go(1)
        self.view.run()
        self.go(60)
        assert self.controls.commands.screw_on
        assert self.controls.commands.feed_on
        self.said.clear()
        return self

    def kinds(self) -> list[tuple[str, str]]:
        return [(m.kind, m.key) for m in self.said]


def _try(change: Callable[[LineStub], None], soak_s: float = SOAKED_S) -> Desk:
    desk = Desk()
    change(desk.view)
    desk.go(soak_s)
    desk.controls.order("screw", True)
    desk.go(1)
    return desk


def test_a_soaked_line_with_all_in_place_starts() -> None:
    desk = _try(lambda _view: None)
    assert desk.controls.commands.screw_on
    assert desk.kinds() == [("started", "screw")]


def _off_park(view: LineStub) -> None:
    view.wiper_parked, view.wiper_angle_deg = False, 23.4


def _open_and_dry(view: LineStub) -> None:
    view.chamber_closed, view.water_m3_h = False, 0.0


@pytest.mark.parametrize(
    ("change", "soak_s", "words"),
    [
        (lambda v: None, 1318, ["soak 22.0 of 30 min"]),
        (lambda v: setattr(v.zone("filter.plate.6"), "sensed_cel", 213.9), 1900, ["filter.plate.6 -6.1 K", "soak 0.0"]),
        (lambda v: setattr(v.zone("filter.plate.6"), "sensed_cel", 216.0), 1900, ["started: soak 0.0 of 30 min"]),
        (lambda v: setattr(v.zone("filter.plate.6"), "sensed_cel", nan), 1900, ["filter.plate.6 +nan K", "soak 0.0"]),
        (lambda v: setattr(v.zone("extruder.zone.2"), "sensed_cel", 190.0), 1900, ["barrel cold: extruder.zone.2 -30.0 K"]),
        (lambda v: setattr(v.zone("die.zone.1"), "enabled", False), 1900, ["heating off in die.zone.1"]),
        (_off_park, 1900, ["not at park, at 23 deg"]),
        (lambda v: setattr(v, "chamber_closed", False), 1900, ["cutting chamber open"]),
        (lambda v: setattr(v, "water_m3_h", 3.2), 1900, ["water 3.2 of 22.0 m3/h"]),
        (_open_and_dry, 1900, ["water 0.0", "chamber open"]),
    ],
)  # fmt: skip
def test_a_start_is_refused_with_what_is_missing(
    change: Callable[[LineStub], None], soak_s: float, words: list[str]
) -> None:
    desk = _try(change, soak_s)
    assert not desk.controls.commands.screw_on
    (message,) = desk.said
    assert (message.kind, message.key) == ("refused", "screw")
    assert all(word in message.text for word in words), message.text


def test_a_refused_start_is_not_made_up_for_later() -> None:
    desk = _try(lambda v: None, 1790)
    desk.go(60)
    assert not desk.controls.commands.screw_on


def test_many_zones_that_are_off_are_counted_after_the_worst_three() -> None:
    def cool(view: LineStub) -> None:
        for k, zone in enumerate(view.zones):
            zone.sensed_cel -= 7.0 + 0.1 * k

    (message,) = _try(cool).said
    assert "die.zone.1 -8.1 K, filter.discharge -8.0 K, filter.plate.8 -7.9 K and 9 more" in message.text


@pytest.mark.parametrize(
    ("off_k", "expected_min"), [(0.0, 30.0), (2.9, 30.0), (-4.0, 25.0), (5.9, 25.0), (-6.1, 15.0)]
)
def test_the_soak_waits_for_a_zone_that_drifts_and_starts_again_for_one_that_leaves(
    off_k: float, expected_min: float
) -> None:
    desk = Desk()
    desk.go(600)
    desk.view.zones[3].sensed_cel += off_k
    desk.go(300)
    desk.view.zones[3].sensed_cel -= off_k
    desk.go(900)
    assert desk.controls.soak.seconds / 60.0 == pytest.approx(expected_min)


def test_cold_water_on_the_die_costs_no_soak() -> None:
    desk = Desk()
    desk.go(SOAKED_S)
    desk.view.zone("die.zone.1").sensed_cel -= 4.0
    desk.go(60)
    desk.controls.order("screw", True)
    desk.go(1)
    assert desk.controls.commands.screw_on


def test_a_plate_that_the_operator_took_out_counts_for_nothing() -> None:
    def take_out(view: LineStub) -> None:
        plate = view.zone("filter.plate.3")
        plate.taken_out, plate.sensed_cel = True, 190.0

    assert _try(take_out).controls.commands.screw_on


@pytest.mark.parametrize(
    ("key", "change"),
    [
        ("soak", lambda v: None),
        ("park", lambda v: setattr(v, "wiper_parked", False)),
        ("chamber", lambda v: setattr(v, "chamber_closed", False)),
        ("water", lambda v: setattr(v, "water_m3_h", 0.0)),
    ],
)
def test_a_key_overrides_its_own_permissive_only(key: str, change: Callable[[LineStub], None]) -> None:
    soak_s = 100 if key == "soak" else SOAKED_S
    for turned in ("soak", "temperature", "park", "chamber", "water"):
        desk = Desk()
        change(desk.view)
        desk.controls.override(turned, True)
        desk.go(soak_s)
        desk.controls.order("screw", True)
        desk.go(1)
        assert desk.controls.commands.screw_on == (turned == key)
        started = [m.text for m in desk.said if m.kind == "started"]
        assert [f"override of {key}" in text for text in started] == [True] * (turned == key)
    desk.controls.override(key, True)
    desk.controls.override(key, False)
    desk.go(1)
    assert desk.kinds()[-1] == ("override", key)
    assert key not in desk.controls.overridden


def test_no_key_starts_a_screw_in_a_cold_barrel_but_a_bridge_does() -> None:
    def cold(view: LineStub) -> None:
        view.zone("extruder.zone.1").sensed_cel = 100.0

    desk = Desk()
    cold(desk.view)
    for key in ("soak", "temperature"):
        desk.controls.override(key, True)
    desk.controls.order("screw", True)
    desk.go(1)
    assert "barrel cold" in desk.said[-1].text
    assert not desk.controls.commands.screw_on
    desk.view.soak_bypassed = True
    desk.controls.order("screw", True)
    desk.go(1)
    assert desk.controls.commands.screw_on


def test_the_feed_comes_when_the_screw_turns_and_goes_when_it_stops() -> None:
    desk = _try(lambda v: None)
    assert not desk.controls.commands.feed_on
    desk.view.run()
    desk.controls.order("knives", True)
    desk.go(1)
    assert desk.controls.commands.feed_on
    desk.view.screw_min = 0.0
    desk.go(1)
    assert not desk.controls.commands.feed_on


# What goes wrong, after how many seconds the line stands, and whether the feed is held before.
TRIPS = [
    ("head_bar", 201.0, 1, "head pressure", False),
    ("head_bar", nan, 1, "head pressure", False),
    ("torque_percent", 112.0, 3, "motor overload", False),
    ("torque_percent", 106.0, 10, "motor overload, long", False),
    ("chamber_closed", False, 10, "pelletizer", True),
    ("knives_min", 40.0, 10, "pelletizer", True),
    ("water_m3_h", 9.0, 10, "pelletizer", True),
    ("water_m3_h", nan, 10, "pelletizer", True),
]


@pytest.mark.parametrize("dt_s", [1.0, 0.2])
@pytest.mark.parametrize(("name", "value", "after_s", "key", "held"), TRIPS)
def test_a_running_line_stops_itself_after_its_time(
    name: str, value: float, after_s: int, key: str, held: bool, dt_s: float
) -> None:
    desk = Desk().started()
    setattr(desk.view, name, value)
    desk.go(after_s - 1, dt_s)
    assert desk.controls.commands.screw_on
    if after_s > 1:
        assert desk.controls.commands.feed_on is not held
    desk.go(1, dt_s)
    assert not desk.controls.commands.screw_on
    assert not desk.controls.commands.feed_on
    assert desk.kinds() == [*([("held", "pelletizer")] if held else []), ("tripped", key)]
    assert key in desk.controls.trips


@pytest.mark.parametrize(
    ("name", "value", "seconds"),
    [
        ("head_bar", 199.9, 600),
        ("torque_percent", 111.0, 2),
        ("torque_percent", 106.0, 9),
        ("torque_percent", 104.9, 600),
        ("water_m3_h", 12.1, 600),
        ("knives_min", 40.0, 9),
    ],
)
def test_what_is_short_or_small_stops_nothing(name: str, value: float, seconds: int) -> None:
    desk = Desk().started()
    sound = getattr(desk.view, name)
    setattr(desk.view, name, value)
    desk.go(seconds)
    setattr(desk.view, name, sound)
    desk.go(1)
    assert desk.controls.commands.screw_on
    assert desk.controls.commands.feed_on
    assert not desk.controls.trips


def test_a_bridged_trip_does_not_trip_and_a_purge_needs_no_knives() -> None:
    desk = Desk().started()
    desk.view.trip_bypassed = True
    desk.view.head_bar = 260.0
    desk.view.purging = True
    desk.view.knives_min = 0.0
    desk.go(60)
    assert desk.controls.commands.screw_on


@pytest.mark.parametrize(
    ("bar", "after_s", "key"), [(121.0, 1, "pump inlet high"), (4.0, 5, "pump inlet low")]
)
def test_a_melt_pump_is_guarded_at_its_inlet_once_it_is_full(bar: float, after_s: int, key: str) -> None:
    desk = Desk()
    desk.view.pump_inlet_bar = 0.0
    desk.started()
    assert desk.controls.commands.pump_on
    desk.view.pump_inlet_bar = 40.0
    desk.go(1)
    desk.view.pump_inlet_bar = bar
    desk.go(after_s)
    assert desk.kinds() == [("tripped", key)]
    assert not desk.controls.commands.pump_on


def test_a_trip_stays_until_it_is_reset_and_can_not_be_while_it_is_still_there() -> None:
    desk = Desk().started()
    desk.view.head_bar = 230.0
    desk.go(1)
    desk.view.screw_min, desk.view.melt_flows = 0.0, False
    desk.controls.order("screw", True)
    desk.go(1)
    assert "trip 'head pressure' stands (230 bar" in desk.said[-1].text
    desk.controls.reset()
    desk.go(1)
    assert desk.kinds()[-1] == ("refused", "head pressure")
    desk.view.head_bar = 90.0
    desk.controls.reset()
    desk.controls.order("screw", True)
    desk.go(1)
    assert desk.kinds()[-2:] == [("reset", "head pressure"), ("started", "screw")]
    assert desk.controls.commands.screw_on


def test_a_stop_in_order_takes_the_feed_first_then_the_screw_and_the_knives_at_last() -> None:
    desk = Desk().started()
    commands = desk.controls.commands
    desk.controls.order("screw", False)
    desk.go(1)
    assert (commands.feed_on, commands.screw_on) == (False, True)
    desk.go(9)
    assert not commands.screw_on
    assert desk.kinds() == [("stopped", "feed"), ("stopped", "screw")]
    desk.view.screw_min, desk.view.melt_flows = 0.0, False
    desk.go(29)
    assert commands.knives_on
    desk.go(2)
    assert (commands.knives_on, commands.water_on, commands.heat_on) == (False, True, True)


def test_a_screw_that_runs_out_can_be_started_again() -> None:
    desk = Desk().started()
    desk.controls.order("screw", False)
    desk.go(3)
    desk.controls.order("screw", True)
    desk.go(30)
    assert desk.controls.commands.feed_on


def _fail(desk: Desk, times: int) -> None:
    for _ in range(times):
        for state in (1, 3):
            desk.view.wiper_state = state
            desk.go(2)


def test_a_stalled_wiper_is_tried_twice_more_and_then_no_longer() -> None:
    desk = Desk().started()
    _fail(desk, 2)
    assert desk.controls.commands.wiper_on
    _fail(desk, 1)
    assert not desk.controls.commands.wiper_on
    assert desk.kinds() == [("tripped", WIPER_DRIVE)]
    assert desk.controls.commands.screw_on
    desk.controls.wipe()
    desk.go(1)
    assert not desk.controls.commands.wipe
    assert desk.kinds()[-1] == ("refused", "wiper")
    desk.controls.reset()
    desk.go(1)
    assert desk.controls.commands.wiper_on
    _fail(desk, 2)
    assert desk.controls.commands.wiper_on


def test_a_cleaning_that_succeeds_forgives_those_that_failed() -> None:
    desk = Desk().started()
    for _ in range(3):
        _fail(desk, 2)
        for state in (1, 0):
            desk.view.wiper_state = state
            desk.go(2)
    assert desk.controls.commands.wiper_on


def test_a_jog_needs_the_soak_and_lasts_one_step() -> None:
    desk = Desk()
    desk.go(1320)
    desk.controls.jog()
    desk.go(1)
    assert not desk.controls.commands.jog
    assert desk.said[-1].text == "wiper not started: soak 22.0 of 30 min"
    desk.view.soak_bypassed = True
    desk.controls.jog()
    desk.go(1)
    assert desk.controls.commands.jog
    desk.go(1)
    assert not desk.controls.commands.jog


def test_a_cleaning_by_hand_in_production_needs_no_soak() -> None:
    desk = Desk().started()
    desk.view.zones[3].sensed_cel = 200.0
    desk.go(10)
    desk.controls.wipe()
    desk.go(1)
    assert desk.controls.commands.wipe


def test_a_copy_goes_its_own_way() -> None:
    desk = Desk().started()
    twin = deepcopy(desk)
    desk.view.head_bar = 230.0
    desk.go(1)
    twin.go(1)
    assert (desk.controls.commands.screw_on, twin.controls.commands.screw_on) == (False, True)
