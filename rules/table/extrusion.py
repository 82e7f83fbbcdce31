"""What is written about the rules of doser, extruder and vent."""

from __future__ import annotations

from collections.abc import Mapping

from rules.finding import Priority
from rules.table.rule import MACHINE, QUALITY, RECORD, SAME_MACHINE, Parameter, Rule

_SETTLE = Parameter(180, "s", "how long after a changed feed or speed it is not judged", 30, 3600)

ABOUT: Mapping[str, Rule] = {
    "feed-starved": Rule(
        cause="Material bridges in the hopper, has melted shut the throat, or is too light for the dosing "
        "screw.",
        consequence="The screw runs half empty: hotter melt, short pellets, throughput that is not what is "
        "set; "
        "when the bridge breaks, an overload.",
        advice="A bridge is cleared only with doser and agitator stopped and isolated. Look at hopper level, "
        "throat cooling and bulk density. Whether to go on is the shift leader's decision.",
        priority=Priority.MEDIUM,
        machine="doser",
        alarm_class=QUALITY,
        respond_s=600,
        set_point="feed_share",
        on_delay="held_s",
        off_delay="clear_s",
        masks=(
            "screw or feed switched off",
            "a changed feed or speed",
            "the rate while the doser goes by its speed",
        ),
        parameters={
            "feed_share": Parameter(0.85, "1", "share of the set feed that is too little", 0.1, 0.98),
            "torque_share": Parameter(
                0.85, "1", "share of the usual torque that the screw shows then", 0.1, 0.98
            ),
            "die_share": Parameter(
                0.88, "1", "share of the usual die pressure; where the feed does not tell", 0.1, 0.98
            ),
            "held_s": Parameter(30, "s", "how long", 0, 600),
            "clear_s": Parameter(60, "s", "how long it is gone before it is over", 10, 3600),
            "settle_s": _SETTLE,
        },
    ),
    "doser-unweighed": Rule(
        cause="The doser's scale has failed, is stuck or touched, or it was set to feed by its speed.",
        consequence="Nobody knows the feed: throughput, losses and specific energy of this time are not "
        "measured.",
        advice="Look after the scale and what touches the hopper. Mark the figures of this time as not "
        "weighed.",
        priority=Priority.LOW,
        machine="doser",
        alarm_class=RECORD,
        respond_s=3600,
        set_point="loss_share",
        on_delay="held_s",
        off_delay="clear_s",
        roots=("feed-starved",),
        masks=("melt stands", "a refill", "a changed feed"),
        parameters={
            "held_s": Parameter(300, "s", "how long; a refill takes less", 60, 3600),
            "clear_s": Parameter(30, "s", "how long it weighs before it is over", 10, 3600),
            "loss_share": Parameter(
                0.5, "1", "share of the shown feed that the hopper must lose at least", 0.05, 0.95
            ),
        },
    ),
    "surging": Rule(
        cause="The bed of solids in the screw breaks up again and again: a feed zone too hot, a warm throat, "
        "an uneven feed.",
        consequence="Throughput swings: pellets long and short, unsteady pressure at the filter.",
        advice="Look at feed-zone temperatures, throat cooling, screw speed and how full the screw is fed; "
        "changes are the process lead's decision.",
        priority=Priority.MEDIUM,
        machine="extruder",
        alarm_class=QUALITY,
        respond_s=1800,
        set_point="unrest_percent",
        on_delay="held_s",
        off_delay="clear_s",
        roots=("feed-starved",),
        masks=(
            "melt stands or has just begun to run",
            "a changed feed or speed",
            "an uneven feed",
            "cleanings and the time after",
        ),
        parameters={
            "unrest_percent": Parameter(0.8, "%", "standard deviation of the pressure, of its mean", 0.1, 20),
            "share": Parameter(0.45, "1", "share of one wave in it", 0.1, 0.95),
            "passed_share": Parameter(0.2, "1", "share of that wave behind the filter", 0, 0.95),
            "held_s": Parameter(30, "s", "how long", 0, 1800),
            "clear_s": Parameter(120, "s", "how long it is gone before it is over", 10, 3600),
            "settle_s": _SETTLE,
        },
    ),
    "foaming": Rule(
        cause="Wet feed, or volatiles that the vent does not take away.",
        consequence="Bubbles in the pellets: light, porous, holes; the vacuum pump is overburdened.",
        advice="Have the feed's moisture measured; dry it, or feed less. Look at vent and vacuum. Changes "
        "are the "
        "process lead's decision.",
        priority=Priority.MEDIUM,
        machine="extruder",
        alarm_class=QUALITY,
        respond_s=1800,
        set_point="unrest_ratio",
        on_delay="held_s",
        off_delay="clear_s",
        roots=("vent-vacuum", "pressure-high", "cleaning-overdue"),
        masks=(
            "melt stands or has just begun to run",
            "a changed feed or speed",
            "an uneven feed",
            "cleanings",
        ),
        parameters={
            "unrest_ratio": Parameter(
                1.5, "1", "how much more than usual the pressure jumps from second to second", 1.1, 10
            ),
            "fall_percent": Parameter(4, "%", "how far its mean has fallen", 0.5, 50),
            "vent_ratio": Parameter(
                1.4, "1", "pressure of the vent against usual, beside which less of both convinces", 1.05, 10
            ),
            "held_s": Parameter(30, "s", "how long", 0, 1800),
            "clear_s": Parameter(120, "s", "how long it is gone before it is over", 10, 3600),
            "settle_s": _SETTLE,
        },
    ),
    "vent-vacuum": Rule(
        cause="The vent leaks, its line is shut, its pump is overburdened; or melt climbs into it.",
        consequence="Gas stays in the melt: porous pellets; melt in the vent shuts the way to the pump.",
        advice="Look at the vent, and mark melt that is seen in it. A vent is cleaned only after isolation: "
        "hot "
        "melt stands under vapour pressure there. A full screen presses melt back: look at the filter.",
        priority=Priority.MEDIUM,
        machine="extruder",
        alarm_class=QUALITY,
        respond_s=1800,
        set_point="limit_mbar",
        dead_band="dead_band_mbar",
        off_delay="clear_s",
        roots=("pressure-high", "cleaning-overdue"),
        masks=(
            "melt stands or has just begun to run",
            "a changed feed or speed; a person's mark counts always",
        ),
        parameters={
            "limit_mbar": Parameter(250, "mbar", "absolute pressure that is no vacuum", 20, 900),
            "dead_band_mbar": Parameter(30, "mbar", "how much lower it must be before it is over", 0, 500),
            "lost_s": Parameter(120, "s", "how long", 10, 3600),
            "dome_k": Parameter(
                5, "K", "how much the dome warms within five minutes when melt climbs", 1, 50
            ),
            "head_ratio": Parameter(1.25, "1", "head pressure against usual that goes with it", 1.01, 3),
            "vacuum_ratio": Parameter(1.5, "1", "or pressure of the vent against usual", 1.05, 10),
            "flow_s": Parameter(30, "s", "how long both", 10, 3600),
            "mark_s": Parameter(1800, "s", "how long a person's mark stands", 60, 28_800),
            "clear_s": Parameter(120, "s", "how long it is gone before it is over", 10, 3600),
            "settle_s": _SETTLE,
        },
    ),
    "extruder-cold": Rule(
        cause="The screw was started before the barrel was warm, or a zone does not heat.",
        consequence="Unmolten material jams: screw, gear or coupling break.",
        advice="Stop the screw by the maker's procedure; wait until all zones have soaked. Whether and when "
        "it is "
        "started again is the shift leader's decision.",
        priority=Priority.HIGH,
        machine="extruder",
        alarm_class=MACHINE,
        respond_s=60,
        set_point="cold_k",
        dead_band="dead_band_k",
        on_delay="held_s",
        off_delay="clear_s",
        reach=SAME_MACHINE,
        masks=("zones that cool while the screw has long been turning: other rules'", "unknown speed"),
        parameters={
            "cold_k": Parameter(15, "K", "how far below its set-point a zone is", 5, 100),
            "dead_band_k": Parameter(5, "K", "how much nearer it must be before it is over", 0, 50),
            "speed_per_min": Parameter(5, "/min", "speed from which the screw turns", 0.5, 60),
            "held_s": Parameter(3, "s", "how long", 0, 30),
            "clear_s": Parameter(10, "s", "how long it is gone before it is over", 1, 600),
            "start_s": Parameter(600, "s", "how long after the screw's start it is judged", 60, 7200),
        },
    ),
    "drive-overload": Rule(
        cause="The screw turns in cold or too much material, something hard has come in, or it rubs.",
        consequence="The drive trips; screw, gear or coupling suffer.",
        advice="Less feed first, then less speed, by the maker's manual; compare zone temperatures. "
        "Whether to go on is the shift leader's decision.",
        priority=Priority.HIGH,
        machine="extruder",
        alarm_class=MACHINE,
        respond_s=60,
        set_point="limit_percent",
        dead_band="dead_band_percent",
        on_delay="held_s",
        off_delay="clear_s",
        roots=("extruder-cold", "feed-starved"),
        parameters={
            "limit_percent": Parameter(92, "%", "of the rated torque", 20, 200),
            "dead_band_percent": Parameter(4, "%", "how much less it must be before it is over", 0, 50),
            "above_usual_percent": Parameter(
                8, "%", "how far above usual it must be, for a drive that runs close to the limit", 0, 50
            ),
            "peak_percent": Parameter(105, "%", "of the rated torque, at once", 20, 300),
            "held_s": Parameter(10, "s", "how long it is above the limit", 0, 60),
            "clear_s": Parameter(30, "s", "how long it is less before it is over", 1, 600),
        },
    ),
    "material-residue": Rule(
        cause="What is left of another material, from channels and dead corners, comes out.",
        consequence="Pellets of two materials; figures of this time say nothing of either.",
        advice="Keep the pellets of this time apart; leave it out of averages. How long to purge is the "
        "process "
        "lead's decision.",
        priority=Priority.LOW,
        machine="extruder",
        alarm_class=QUALITY,
        respond_s=1800,
        set_point="rise_percent",
        off_delay="clear_s",
        reach=SAME_MACHINE,
        masks=(
            "melt stands or has just begun to run",
            "a changed feed or speed",
            "an uneven feed",
            "cleanings",
        ),
        parameters={
            "rise_percent": Parameter(7, "%", "how far the die pressure rose", 2, 100),
            "fall_share": Parameter(0.35, "1", "share of the rise that is gone again", 0.1, 0.9),
            "clear_s": Parameter(60, "s", "how long it is as before until it is over", 10, 3600),
            "settle_s": _SETTLE,
        },
    ),
}
