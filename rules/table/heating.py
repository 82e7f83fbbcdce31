"""What is written about the rules of heated zones."""

from __future__ import annotations

from collections.abc import Mapping

from rules.finding import Priority
from rules.table.rule import MACHINE, QUALITY, SAME_PART, Parameter, Rule

_SHARE = Parameter(0.4, "1", "share of the usual current below which most of the power is lost", 0.01, 0.45)
_ASKED = Parameter(20, "%", "controller output above which ten seconds show whether current flows", 1, 99)

ABOUT: Mapping[str, Rule] = {
    "heater-supply": Rule(
        cause="What several heaters share has failed: a phase, a fuse, a contactor; or the mains voltage "
        "is low.",
        consequence="Cold sectors in several machines at once; zones heat slower, with less in reserve.",
        advice="A qualified electrician checks main fuses, contactors and the phases' voltages. "
        "Whether to go on is the shift leader's decision, by the makers' manuals.",
        priority=Priority.MEDIUM,
        machine="heaters",
        alarm_class=MACHINE,
        respond_s=600,
        set_point="sag_percent",
        on_delay="sag_held_s",
        off_delay="sag_held_s",
        masks=("zones taken out of use", "outputs so low that no current is seen", "no current is measured"),
        parameters={
            "zones": Parameter(2, "1", "heaters that must lose their current together", 2, 20),
            "asked_percent": _ASKED,
            "current_share": _SHARE,
            "sag_percent": Parameter(6, "%", "how much less than usual all heaters draw", 2, 30),
            "sag_held_s": Parameter(60, "s", "how long they do", 10, 600),
        },
    ),
    "probe-break": Rule(
        cause="The thermocouple's wire is broken or loose, or its input has failed.",
        consequence="The controller switches the zone off, which cools as if its heater were burnt out.",
        advice="A qualified electrician changes the probe or fastens its wires. Where the maker allows it, "
        "with a working independent limiter and a person watching, the output that held the zone may be set "
        "by hand; that is the shift leader's decision.",
        priority=Priority.MEDIUM,
        machine="heaters",
        alarm_class=MACHINE,
        respond_s=600,
        on_delay="held_s",
        off_delay="good_s",
        signal_fault=True,
        reach=SAME_PART,
        masks=("its source is lost",),
        parameters={
            "held_s": Parameter(1.5, "s", "how long it shows what no zone reaches", 0, 60),
            "good_s": Parameter(60, "s", "how long it shows a temperature before it is over", 1, 3600),
            "loose_breaks": Parameter(3, "1", "breaks after which it is called loose", 2, 100),
            "loose_window_s": Parameter(600, "s", "within which they count", 60, 7200),
        },
    ),
    "probe-short": Rule(
        cause="The thermocouple is shorted at its terminals, unplugged into a warm box, or its wires are "
        "reversed.",
        consequence="The controller heats without end: the zone runs away hot; melt degrades, smoke, fire.",
        advice="The zone's heating is switched off first, then the sensor is looked for: by a qualified "
        "electrician. Check that the independent over-temperature limiter has tripped.",
        priority=Priority.HIGH,
        machine="heaters",
        alarm_class=MACHINE,
        respond_s=300,
        on_delay="held_s",
        off_delay="good_s",
        signal_fault=True,
        reach=SAME_PART,
        masks=("its source is lost", "peers that are cold too: it may be the hall that it reads"),
        parameters={
            "held_s": Parameter(2, "s", "how long a reading that leapt down stays there", 0, 60),
            "good_s": Parameter(60, "s", "how long it shows a temperature before it is over", 1, 3600),
            "hall_held_s": Parameter(60, "s", "how long it reads the hall at full output", 10, 600),
        },
    ),
    "probes-swapped": Rule(
        cause="The thermocouples of two zones are plugged into each other's inputs, or two heaters are.",
        consequence="Neither zone is controlled: one runs away hot, the other cools; degraded melt, smoke.",
        advice="Both zones' heating is switched off first, then plugs and terminals are compared with the "
        "wiring diagram: by a qualified electrician. Check that the independent over-temperature limiter has "
        "tripped.",
        priority=Priority.HIGH,
        machine="heaters",
        alarm_class=MACHINE,
        respond_s=300,
        set_point="moved_k",
        on_delay="held_s",
        off_delay="clear_s",
        signal_fault=True,
        masks=(
            "barrel zones while melt runs: the screw warms them, and cold material cools them",
            "a set-point changed there or next to it within half an hour",
            "more than one zone that falls, or that rises",
            "no current is measured",
        ),
        parameters={
            "moved_k": Parameter(
                5, "K", "how far the one falls at full output, and the other rises without any", 2, 50
            ),
            "held_s": Parameter(120, "s", "how long the outputs are so", 30, 1800),
            "clear_s": Parameter(120, "s", "how long they are no longer so before it is over", 10, 3600),
        },
    ),
    "heater-stuck-on": Rule(
        cause="A relay or contactor sticks, or the output that drives it does.",
        consequence="The zone heats without end: degraded melt, gels and black specks, smoke, fire.",
        advice="The zone's breaker is opened, not just its set-point lowered: by a qualified electrician. "
        "Check that the independent over-temperature limiter has tripped; purge afterwards.",
        priority=Priority.HIGH,
        machine="heaters",
        alarm_class=MACHINE,
        respond_s=300,
        set_point="warming_k_min",
        on_delay="held_s",
        off_delay="clear_s",
        reach=SAME_PART,
        masks=("zones that warm with their peers: the screw's work heats them",),
        parameters={
            "current_share": Parameter(
                0.1, "1", "share of the usual current that must not flow without output", 0.01, 0.9
            ),
            "part_percent": Parameter(
                87, "%", "output below which its current must pause within ten seconds", 10, 95
            ),
            "warming_k_min": Parameter(1, "K/min", "warming without output, where no current tells", 0.2, 20),
            "above_k": Parameter(3, "K", "how far above its set-point it must be then", 1, 50),
            "held_s": Parameter(60, "s", "how long it must warm so", 10, 300),
            "clear_s": Parameter(60, "s", "how long no current flows before it is over", 10, 3600),
        },
    ),
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
        reach=SAME_PART,
        roots=("heater-supply", "probe-short", "probe-break"),
        masks=(
            "heat-up (other signs are looked at)",
            "a zone taken out of use",
            "a changed set-point",
            "several that lost their current at once: another rule's",
        ),
        parameters={
            "asked_percent": _ASKED,
            "current_share": _SHARE,
            "current_window_s": Parameter(20, "s", "how long too little current is seen", 10, 600),
            "residual_k_min": Parameter(1.5, "K/min", "missing heating rate against the peers", 0.3, 20),
            "residual_held_s": Parameter(120, "s", "how long the heating rate is missing", 30, 600),
            "slow_held_s": Parameter(180, "s", "how long the output is full without effect", 60, 3600),
            "plate_full_k_min": Parameter(5.3, "K/min", "heating rate of a plate at full output", 0.5, 60),
            "barrel_full_k_min": Parameter(
                9, "K/min", "heating rate of a barrel zone at full output", 0.5, 60
            ),
            "die_full_k_min": Parameter(14, "K/min", "heating rate of a die zone at full output", 0.5, 60),
            "pump_full_k_min": Parameter(
                5.6, "K/min", "heating rate of a melt pump zone at full output", 0.5, 60
            ),
            "block_full_k_min": Parameter(
                7.2, "K/min", "heating rate of the discharge block at full output", 0.5, 60
            ),
        },
    ),
    "heater-weak": Rule(
        cause="One of several elements in parallel is open, or its lead has come off.",
        consequence="The zone holds, with little in reserve: it lags at the next heat-up, and gives way when "
        "more is asked of it.",
        advice="Have the element changed at the next stop, by a qualified electrician.",
        priority=Priority.LOW,
        machine="heaters",
        alarm_class=MACHINE,
        respond_s=28_800,
        set_point="current_share",
        on_delay="held_s",
        off_delay="clear_s",
        roots=("heater-supply", "heater-power"),
        masks=(
            "a zone taken out of use",
            "all heaters draw less: another rule's",
            "melt stands or was changed: only by its output",
        ),
        parameters={
            "current_share": Parameter(0.85, "1", "share of the usual current that is too little", 0.5, 0.97),
            "power_share": Parameter(0.4, "1", "below this it is as good as out: another rule's", 0.01, 0.45),
            "held_s": Parameter(60, "s", "how long it is seen", 10, 3600),
            "clear_s": Parameter(120, "s", "how long it is gone before it is over", 10, 3600),
            "duty_ratio": Parameter(
                1.35, "1", "output that holds it, against what used to; without current", 1.1, 4
            ),
            "duty_held_s": Parameter(1200, "s", "how long it has stood at its set-point so", 300, 7200),
            "pace_share": Parameter(
                0.85, "1", "its pace in heat-up against its peers; without current", 0.3, 0.97
            ),
        },
    ),
    "probe-detached": Rule(
        cause="A thermocouple has slipped out of its seat, or an air gap has come between.",
        consequence="It reads low and late: the zone is hotter than it shows, by up to tens of kelvin.",
        advice="Compare with a hand probe; have the thermocouple seated again at the next stop. "
        "Until then do not trust this zone's reading.",
        priority=Priority.LOW,
        machine="heaters",
        alarm_class=QUALITY,
        respond_s=3600,
        set_point="own_percent",
        on_delay="sag_held_s",
        reach=SAME_PART,
        roots=("heater-weak", "heater-power", "heater-supply", "probe-short", "probe-break"),
        masks=(
            "melt stands or has just begun to run",
            "feed or a speed was changed",
            "a set-point changed there or next to it within half an hour",
        ),
        parameters={
            "own_percent": Parameter(10, "%", "how much more output than usual it needs", 3, 60),
            "neighbours_percent": Parameter(2.5, "%", "how much less its neighbours need", 0.5, 30),
            "sag_k_min": Parameter(
                1.5, "K/min", "how far warming falls short though full current flows", 0.3, 20
            ),
            "sag_held_s": Parameter(120, "s", "how long it does", 30, 3600),
            "current_share": Parameter(0.85, "1", "share of the usual current of a whole heater", 0.5, 0.97),
        },
    ),
    "plate-out": Rule(
        cause="A heater plate of the filter was taken out of use.",
        consequence="A cold sector: stiffer melt there, less heating in reserve, more load on the wiper.",
        advice="How many plates may be out, and for how long, the maker's manual says; whether to go on is "
        "the shift leader's decision. Mark the pellets and the figures of this time.",
        priority=Priority.MEDIUM,
        machine="filter",
        alarm_class=MACHINE,
        respond_s=600,
        set_point="reserve_percent",
        on_delay="reserve_held_s",
        off_delay="reserve_held_s",
        parameters={
            "reserve_percent": Parameter(
                85, "%", "output of a plate beside it that leaves too little", 50, 100
            ),
            "reserve_held_s": Parameter(600, "s", "how long it is needed", 60, 600),
            "residual_k": Parameter(
                10, "K", "how far from where it was expected a plate out of use may rest", 2, 60
            ),
            "current_share": _SHARE,
        },
    ),
    "soak-short": Rule(
        cause="Screw or wiper was started before all zones had stood at their set-points for long enough.",
        consequence="Cold sectors: the wiper shears, the screen tears, pressure bursts through.",
        advice="Next time the soak is waited for. Look after the wiper's torque and the pressure difference "
        "now; whether to go on is the shift leader's decision.",
        priority=Priority.MEDIUM,
        machine="filter",
        alarm_class=MACHINE,
        respond_s=600,
        set_point="soak_s",
        masks=(
            "a soak that was not seen from its beginning",
            "zones taken out of use",
            "the die: water cools it",
        ),
        parameters={
            "soak_s": Parameter(1800, "s", "how long all zones stand at their set-points", 0, 86_400),
            "degraded_factor": Parameter(
                2, "1", "how much longer from cold, while a zone is out of use", 1, 10
            ),
            "tolerance_s": Parameter(60, "s", "how much may be missing", 0, 3600),
            "band_k": Parameter(3, "K", "how near is at the set-point", 0.5, 20),
            "restart_k": Parameter(7, "K", "how far off begins the soak anew", 1, 50),
        },
    ),
    "plates-uneven": Rule(
        cause="The plates of the filter are not equally warm: a short soak, a draught, a failing heater or "
        "probe.",
        consequence="The melt runs where it is warmest; cold sectors load the wiper and the screen.",
        advice="Compare the plates' outputs and currents; look at wiper torque. Whether to go on is the "
        "shift leader's decision.",
        priority=Priority.LOW,
        machine="filter",
        alarm_class=QUALITY,
        respond_s=1800,
        set_point="spread_k",
        dead_band="band_k",
        on_delay="held_s",
        off_delay="clear_s",
        roots=(
            "heater-power",
            "heater-supply",
            "heater-stuck-on",
            "heater-weak",
            "probe-break",
            "probe-short",
            "probe-detached",
            "probes-swapped",
            "soak-short",
        ),
        masks=("melt stands", "a set-point of a plate was changed within half an hour", "plates taken out"),
        parameters={
            "spread_k": Parameter(8, "K", "between the coldest and the warmest plate", 2, 60),
            "band_k": Parameter(2, "K", "how much less it must be before it is over", 0, 20),
            "held_s": Parameter(120, "s", "how long", 10, 1800),
            "clear_s": Parameter(120, "s", "how long it is less before it is over", 10, 3600),
        },
    ),
}
