"""What is written about the rules of die, knives, process water and dryer."""

from __future__ import annotations

from collections.abc import Mapping

from rules.finding import Priority
from rules.table.rule import MACHINE, QUALITY, SAME_MACHINE, Parameter, Rule

_SETTLE = Parameter(180, "s", "how long after a changed feed or speed it is not judged", 30, 3600)

ABOUT: Mapping[str, Rule] = {
    "die-frozen": Rule(
        cause="Holes of the die are frozen or blocked: a cold die, cold water, too little flow at the start.",
        consequence="Long and tailed pellets; the pressure before the die rises.",
        advice="The line is stopped, the knives are drawn back, the die is warmed by its own heaters, by the "
        "maker's procedure; nobody stands before the die: hot melt can eject. No naked flame. "
        "Whether to go on is the shift leader's decision.",
        priority=Priority.MEDIUM,
        machine="die",
        alarm_class=QUALITY,
        respond_s=600,
        set_point="rise_percent",
        on_delay="held_s",
        off_delay="clear_s",
        roots=("heater-power", "heater-supply", "material-residue", "melt-changed"),
        masks=(
            "the first minutes of melt",
            "before a run has shown what is usual",
            "cleanings",
            "a stiffer melt",
        ),
        parameters={
            "rise_percent": Parameter(6, "%", "how much more pressure than usual at this flow", 2, 100),
            "cold_k": Parameter(
                10, "K", "how far below its set-point the die is; half the rise convinces then", 3, 60
            ),
            "held_s": Parameter(30, "s", "how long", 0, 600),
            "clear_s": Parameter(60, "s", "how long it is gone before it is over", 10, 3600),
            "start_s": Parameter(100, "s", "how long after melt-on it is not judged", 60, 1800),
            "start_rise_percent": Parameter(
                4.5, "%", "how much more while the line still fills, for three minutes", 0.5, 100
            ),
            "warm_rise_percent": Parameter(
                8, "%", "how much more from then until ten minutes after melt-on", 0.5, 100
            ),
            "start_held_s": Parameter(0, "s", "how long then", 0, 300),
        },
    ),
    "die-drool": Rule(
        cause="Hot or thin melt, moisture, a worn plate or a gap let melt smear over the die plate.",
        consequence="Lumps, tails and black specks; the water's screen fills.",
        advice="Look at the die plate through the window, and mark what is seen. It is cleaned, and the gap "
        "set, "
        "with the knives stopped and isolated.",
        priority=Priority.LOW,
        machine="die",
        alarm_class=QUALITY,
        respond_s=1800,
        set_point="unrest_ratio",
        off_delay="clear_s",
        roots=("foaming", "surging"),
        masks=(
            "melt stands or has just begun to run",
            "a changed feed or speed",
            "cleanings",
            "an uneasy die pressure",
        ),
        parameters={
            "unrest_ratio": Parameter(
                2, "1", "how much more than usual the torque jumps from second to second", 1.2, 10
            ),
            "die_ratio": Parameter(1.5, "1", "the same of the die pressure, which must be calmer", 1.05, 10),
            "seen_s": Parameter(300, "s", "how long", 30, 3600),
            "mark_s": Parameter(1800, "s", "how long a person's mark stands", 60, 28_800),
            "clear_s": Parameter(180, "s", "how long it is gone before it is over", 10, 3600),
            "settle_s": _SETTLE,
        },
    ),
    "knife-worn": Rule(
        cause="The knives are blunt, nicked or badly aligned.",
        consequence="Tails, long pellets and fines; the knives need more torque and pressure.",
        advice="Plan new or ground knives for the next stop; look at samples until then. Knives are changed "
        "only "
        "with the drive isolated.",
        priority=Priority.LOW,
        machine="pelletizer",
        alarm_class=QUALITY,
        respond_s=14_400,
        set_point="rise_percent",
        on_delay="held_s",
        off_delay="clear_s",
        roots=("knife-pressure",),
        masks=(
            "melt stands or has just begun to run",
            "a changed feed or speed",
            "an uneven feed",
            "cleanings",
            "new knives that run in",
        ),
        parameters={
            "rise_percent": Parameter(
                20, "%", "how much more torque than at first, at the same flow", 5, 200
            ),
            "tails_percent": Parameter(1, "%", "tails in a sample that count", 0.1, 50),
            "run_in_s": Parameter(1200, "s", "how long new knives run in", 0, 14_400),
            "held_s": Parameter(60, "s", "how long", 0, 3600),
            "clear_s": Parameter(600, "s", "how long it is gone before it is over", 10, 7200),
        },
    ),
    "knife-pressure": Rule(
        cause="The air or oil that presses the knives to the plate is lost, or its hose or valve fails.",
        consequence="Strands are torn, not cut, and wrap round the knives; strings clog water and dryer.",
        advice="Divert the pellets; look at the air supply. When strands wrap, stop by the maker's "
        "procedure; "
        "nobody reaches to moving knives. Whether to go on is the shift leader's decision.",
        priority=Priority.HIGH,
        machine="pelletizer",
        alarm_class=MACHINE,
        respond_s=60,
        set_point="pressure_share",
        dead_band="dead_band_share",
        on_delay="held_s",
        off_delay="clear_s",
        masks=("knives that stand, start or stop",),
        parameters={
            "pressure_share": Parameter(
                0.8, "1", "share of the wanted contact pressure that is too little", 0.1, 0.98
            ),
            "dead_band_share": Parameter(0.05, "1", "how much more it must be before it is over", 0, 0.5),
            "held_s": Parameter(10, "s", "how long", 0, 60),
            "clear_s": Parameter(10, "s", "how long it is gone before it is over", 1, 600),
        },
    ),
    "pellet-length": Rule(
        cause="The knives do not turn as set, or their speed was not set to the flow.",
        consequence="Pellets too long or too short.",
        advice="Compare with a sample. The speed is set by the operator; why a drive does not follow, a "
        "qualified "
        "electrician finds out.",
        priority=Priority.LOW,
        machine="pelletizer",
        alarm_class=QUALITY,
        respond_s=1800,
        set_point="length_percent",
        on_delay="held_s",
        off_delay="clear_s",
        roots=("feed-starved",),
        masks=("melt stands or has just begun to run", "a changed feed or speed", "an uneven feed"),
        parameters={
            "length_percent": Parameter(
                15, "%", "how much longer or shorter than usual by calculation", 2, 100
            ),
            "length_s": Parameter(180, "s", "how long", 30, 3600),
            "speed_percent": Parameter(3, "%", "how far the knives are off their set-point", 0.5, 50),
            "speed_s": Parameter(60, "s", "how long", 10, 3600),
            "held_s": Parameter(0, "s", "how long more", 0, 600),
            "clear_s": Parameter(60, "s", "how long it is gone before it is over", 10, 3600),
            "start_s": Parameter(600, "s", "how long after melt-on it is not judged", 60, 3600),
            "settle_s": _SETTLE,
        },
    ),
    "water-temperature": Rule(
        cause="The cooler is fouled or short of cooling water, its valve sticks, or a probe reads wrong.",
        consequence="Too warm: pellets stick together. Too cold: holes freeze, tails, cracks.",
        advice="Look at cooler, strainer and cooling water; look for lumps in the pellets. Less feed asks "
        "less of "
        "the cooler; that is the shift leader's decision.",
        priority=Priority.MEDIUM,
        machine="water",
        alarm_class=QUALITY,
        respond_s=1200,
        set_point="off_k",
        off_delay="clear_s",
        roots=("water-flow",),
        masks=("melt stands or has just begun to run", "a changed feed, speed or set-point of the water"),
        parameters={
            "far_k": Parameter(5, "K", "how far from its set-point, whatever the valve does", 1, 30),
            "far_s": Parameter(120, "s", "how long", 10, 3600),
            "off_k": Parameter(1.3, "K", "how far, while the valve contradicts", 0.3, 20),
            "off_s": Parameter(120, "s", "how long", 10, 3600),
            "valve_percent": Parameter(15, "%", "how much more than usual the cooler's valve is open", 3, 90),
            "open_percent": Parameter(70, "%", "open while the water is too cold", 20, 100),
            "full_percent": Parameter(95, "%", "open with nothing in reserve", 50, 100),
            "full_s": Parameter(600, "s", "how long", 60, 7200),
            "rise_ratio": Parameter(1.5, "1", "how much more than usual it warms in the chamber", 1.1, 5),
            "clear_s": Parameter(180, "s", "how long it is gone before it is over", 10, 3600),
            "start_s": Parameter(900, "s", "how long after melt-on it is not judged", 60, 7200),
            "settle_s": _SETTLE,
        },
    ),
    "water-flow": Rule(
        cause="The strainer or a nozzle is blocked, the pump draws air or has failed, or a valve is shut.",
        consequence="Pellets weld together and shut the cutting chamber within seconds.",
        advice="Stop the knives and the melt by the maker's procedure, unless water returns at once; the "
        "chamber is opened only when the drive is isolated. It is the operator's decision.",
        priority=Priority.HIGH,
        machine="water",
        alarm_class=MACHINE,
        respond_s=30,
        set_point="flow_share",
        dead_band="dead_band_share",
        on_delay="held_s",
        off_delay="clear_s",
        reach=SAME_MACHINE,
        masks=("knives that stand", "water switched off after the melt"),
        parameters={
            "flow_share": Parameter(0.85, "1", "share of the wanted flow that is too little", 0.1, 0.98),
            "dead_band_share": Parameter(0.05, "1", "how much more it must be before it is over", 0, 0.5),
            "held_s": Parameter(4, "s", "how long", 0, 30),
            "clear_s": Parameter(10, "s", "how long it is gone before it is over", 1, 600),
        },
    ),
    "dryer-overload": Rule(
        cause="The dryer's screen is clogged, lumps or strings turn in it, or pellets no longer reach it.",
        consequence="Wet pellets; then a jam: the rotor trips and pellets back up into the water.",
        advice="Less feed, or divert the pellets; that is the operator's decision. The screen is cleared "
        "only "
        "when the rotor has run down and is isolated.",
        priority=Priority.MEDIUM,
        machine="dryer",
        alarm_class=MACHINE,
        respond_s=300,
        set_point="over_percent",
        on_delay="held_s",
        off_delay="clear_s",
        roots=("water-flow", "knife-pressure"),
        masks=(
            "melt stands or has just begun to run",
            "a changed feed or speed",
            "an uneven feed",
            "before a run has shown what is usual",
        ),
        parameters={
            "over_percent": Parameter(10, "%", "how much more current than usual", 2, 100),
            "jam_percent": Parameter(35, "%", "how much more is a jam", 10, 200),
            "empty_percent": Parameter(20, "%", "how much less than usual is hardly any pellets", 5, 95),
            "held_s": Parameter(30, "s", "how long it labours", 5, 300),
            "jam_s": Parameter(3, "s", "how long a jam, or hardly any pellets, is seen", 1, 60),
            "clear_s": Parameter(30, "s", "how long it is gone before it is over", 1, 600),
        },
    ),
}
