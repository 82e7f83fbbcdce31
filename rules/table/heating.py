"""What is written about the rules of heated zones."""

from __future__ import annotations

from collections.abc import Mapping

from rules.finding import Priority
from rules.table.rule import MACHINE, Parameter, Rule

ABOUT: Mapping[str, Rule] = {
    "heater-power": Rule(
        cause="A heating element, its wire, fuse or relay is open; or the temperature sensor reads too low.",
        consequence="A cold sector: stiffer melt there, lumps, more load on the wiper, "
        "a torn screen at the next start.",
        advice="A qualified electrician checks fuse, relay and lead current. "
        "Whether to go on is the shift leader's decision, by the maker's manual.",
        priority=Priority.MEDIUM,
        machine="heaters",
        alarm_class=MACHINE,
        respond_s=600,
        set_point="residual_k_min",
        on_delay="residual_held_s",
        masks=("heat-up (other signs are looked at)", "a zone taken out of use", "a changed set-point"),
        parameters={
            "asked_percent": Parameter(20, "%", "controller output above which current must flow", 1, 99),
            "current_share": Parameter(
                0.1, "1", "share of the nominal current that is as good as none", 0.01, 0.45
            ),
            "current_window_s": Parameter(20, "s", "how long no current is seen before it counts", 10, 600),
            "residual_k_min": Parameter(1.5, "K/min", "missing heating rate against the peers", 0.3, 20),
            "residual_held_s": Parameter(120, "s", "how long the heating rate is missing", 30, 3600),
            "slow_held_s": Parameter(180, "s", "how long the output is full without effect", 60, 3600),
            "plate_full_k_min": Parameter(5.3, "K/min", "heating rate of a plate at full output", 0.5, 60),
            "barrel_full_k_min": Parameter(
                9, "K/min", "heating rate of a barrel zone at full output", 0.5, 60
            ),
            "die_full_k_min": Parameter(14, "K/min", "heating rate of a die zone at full output", 0.5, 60),
        },
    ),
}
