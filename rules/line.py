"""What the rules know of a line beside its samples: the facts of its file, in canonical units."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class MeltFilter:
    """A continuous melt filter with a wiper.

    Attributes:
        plates: heater plates round the housing.
        plates_out_permitted: how many the maker's manual permits to be out, by the line's file.
        trigger_dp_bar: pressure difference at which the machine starts a cleaning; None: not configured.
        trigger_held_s: how long it must be exceeded.
        max_interval_s: longest time between two cleanings; None: not configured.
        park_deg, park_tolerance_deg: where the wiper rests.
        screen_area_cm2, fineness_um: the screen; None when not told.
        heater_a, heater_kw: nominal current and power of one plate; None when not told.
    """

    plates: int
    plates_out_permitted: int = 0
    trigger_dp_bar: float | None = None
    trigger_held_s: float = 0.0
    max_interval_s: float | None = None
    park_deg: float = 0.0
    park_tolerance_deg: float = 5.0
    screen_area_cm2: float | None = None
    fineness_um: float | None = None
    heater_a: float | None = None
    heater_kw: float | None = None


@dataclass(frozen=True, slots=True)
class RuleSetting:
    """What the line's file says of one rule.

    Attributes:
        enabled: whether it is judged.
        priority: "high", "medium", "low" or "journal"; None: the rule's own.
        advice: the site's own words; None: the rule's own.
        numbers: parameter name (with its unit, as in ``horizon_s``) → value.
        latching: whether its alarms stay until somebody resets them; None: as the rule's own.
    """

    enabled: bool = True
    priority: str | None = None
    advice: str | None = None
    numbers: Mapping[str, float] = field(default_factory=dict)
    latching: bool | None = None


@dataclass(frozen=True, slots=True)
class LineFacts:
    """A line as its file describes it.

    Attributes:
        name: of the line.
        melt_filter: None when the line has none.
        barrel_zones: heated zones of the extruder.
        planned_kg_h: planned throughput; None when not told.
        rules: rule name → its setting; rules that are not named have their defaults.
    """

    name: str
    melt_filter: MeltFilter | None = None
    barrel_zones: int = 0
    planned_kg_h: float | None = None
    rules: Mapping[str, RuleSetting] = field(default_factory=dict)

    def setting(self, rule: str) -> RuleSetting:
        """What the file says of the rule, or its defaults."""
        return self.rules.get(rule, RuleSetting())
