"""What the line's controls see of it, and what they command."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol


class ZoneView(Protocol):
    """A heated zone as its controller knows it."""

    @property
    def name(self) -> str:
        """Front part of its tags."""

    @property
    def sensed_cel(self) -> float:
        """What its thermocouple says."""

    @property
    def setpoint_cel(self) -> float:
        """What its controller aims at."""

    @property
    def enabled(self) -> bool:
        """Whether its controller works."""

    @property
    def taken_out(self) -> bool:
        """Whether the operator has taken it out of use."""


class LineView(Protocol):
    """The line as its sensors show it to the controls, with whatever is wrong with them.

    A sensor that gives no usable value shows NaN; that counts as beyond any limit.
    """

    @property
    def zones(self) -> Sequence[ZoneView]:
        """Every heated zone of the line."""

    @property
    def head_bar(self) -> float:
        """Melt pressure at the screw tip, gauge."""

    @property
    def torque_percent(self) -> float:
        """Of the screw's drive."""

    @property
    def screw_min(self) -> float:
        """Speed of the screw."""

    @property
    def melt_flows(self) -> bool:
        """Whether melt comes out of the screw."""

    @property
    def purging(self) -> bool:
        """Whether the melt goes to the floor before the knives."""

    @property
    def wiper_parked(self) -> bool:
        """What the park sensor shows."""

    @property
    def wiper_angle_deg(self) -> float:
        """Where the wiper stands."""

    @property
    def wiper_state(self) -> int:
        """What the wiper does, a code of ``historian.catalogue.WIPER_STATES``."""

    @property
    def chamber_closed(self) -> bool:
        """What the switch of the cutting chamber shows."""

    @property
    def knives_min(self) -> float:
        """Speed of the knives."""

    @property
    def water_m3_h(self) -> float:
        """Flow of the process water."""

    @property
    def water_setpoint_m3_h(self) -> float:
        """What it should be."""

    @property
    def pump_inlet_bar(self) -> float | None:
        """Melt pressure before the melt pump, gauge; None: there is no pump."""

    @property
    def soak_bypassed(self) -> bool:
        """Whether somebody has bridged the permissives of soak and temperature."""

    @property
    def trip_bypassed(self) -> bool:
        """Whether somebody has bridged the trip of the head pressure."""


@dataclass(slots=True)
class Commands:
    """What the controls tell the drives; ``wipe`` and ``jog`` last one step.

    Attributes:
        heat_on, screw_on, feed_on, water_on, knives_on, pump_on: what may run.
        wiper_on: whether cleanings may start.
        wipe, jog: start one by hand now.
    """

    heat_on: bool = False
    screw_on: bool = False
    feed_on: bool = False
    water_on: bool = False
    knives_on: bool = False
    pump_on: bool = False
    wiper_on: bool = True
    wipe: bool = False
    jog: bool = False


@dataclass(frozen=True, slots=True)
class Message:
    """What the controls say to the operator.

    Attributes:
        time_s: when.
        kind: ``started``, ``stopped``, ``refused``, ``tripped``, ``held``, ``reset`` or ``override``.
        key: which trip, permissive or drive it is about.
        text: for a person, with figures.
    """

    time_s: float
    kind: str
    key: str
    text: str
