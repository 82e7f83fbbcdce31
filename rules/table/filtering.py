"""What is written about the rules of the melt filter: screen, wiper, cleaning, discharge."""

from __future__ import annotations

from collections.abc import Mapping

from rules.finding import Priority
from rules.table.rule import MACHINE, QUALITY, Parameter, Rule

ABOUT: Mapping[str, Rule] = {
    "pressure-creep": Rule(
        cause="The screen is being blinded: contaminants that the wiper does not take off stay in its holes.",
        consequence="Cleanings come ever closer together, more melt is discharged, "
        "and the pressure limit is reached.",
        advice="Compare with the trial plan. The process lead decides on coarser screen, lower rate, "
        "wiper setting or screen change.",
        priority=Priority.LOW,
        machine="melt filter",
        alarm_class=QUALITY,
        respond_s=3600,
        set_point="slope_percent",
        masks=("the first minutes of melt", "a changed feed or screw speed", "an overfull screen"),
        roots=("wiper-stalled", "wiper-slipping", "discharge-blocked", "cleaning-weak", "feed-starved"),
        parameters={
            "slope_percent": Parameter(1.5, "%", "rise per cleaning that counts", 0.1, 100),
            "sure_percent": Parameter(0.5, "%", "rise per cleaning that must be certain", 0, 100),
            "cycles": Parameter(10, "1", "cleanings that are looked at", 8, 100),
            "horizon_s": Parameter(3600, "s", "how far ahead the limit is looked for", 60, 86_400),
            "soon_s": Parameter(1200, "s", "a limit nearer than this is of medium priority", 0, 86_400),
            "limit_share": Parameter(
                0.75, "1", "share of the trigger that the pressure after cleaning may reach", 0.1, 1
            ),
        },
    ),
    "cleaning-overdue": Rule(
        cause="The wiper was not started: trigger switched off or set too high, wiper locked, "
        "or its pressures not current.",
        consequence="The pressure before the screen goes on rising towards the machine's own limit.",
        advice="The operator looks at the wiper's mode and trigger. "
        "A cleaning by hand is the shift leader's decision.",
        priority=Priority.MEDIUM,
        machine="melt filter",
        alarm_class=MACHINE,
        respond_s=600,
        set_point="over_bar",
        on_delay="held_s",
        masks=("the first minutes of melt", "melt stands"),
        roots=("wiper-stalled", "feed-starved"),
        parameters={
            "over_bar": Parameter(0.3, "bar", "pressure difference above the trigger, on average", 0, 100),
            "held_s": Parameter(6, "s", "how long the average of ten seconds is above", 1, 600),
            "interval_factor": Parameter(1.25, "1", "share of the longest permitted interval", 1, 10),
            "start_s": Parameter(300, "s", "not judged so long after melt starts to run", 0, 3600),
        },
    ),
    "dirt-step": Rule(
        cause="A dirtier bale or lot has come in.",
        consequence="More melt is discharged, screen and wiper wear faster, the pressure may reach a limit.",
        advice="Note the bale, look at the sorting before the line. "
        "Whether to slow down is the process lead's decision.",
        priority=Priority.LOW,
        machine="melt filter",
        alarm_class=QUALITY,
        respond_s=1800,
        masks=("melt stands or has just begun to run", "a changed feed or speed", "the first five cleanings"),
        parameters={
            "sigmas": Parameter(3.6, "1", "how early they come, summed up, in usual scatters", 3, 50),
            "step": Parameter(1.45, "1", "times as fast as just before the pressure must rise", 1, 10),
        },
    ),
    "cleaning-weak": Rule(
        cause="A worn blade, too few turns, too little contact force, or gels that smear.",
        consequence="Cleanings come ever closer together, melt is lost, the screen wears.",
        advice="The process lead decides on more turns or contact force within the maker's limits; "
        "the blade is changed at a stop, by trained people.",
        priority=Priority.LOW,
        machine="melt filter",
        alarm_class=MACHINE,
        respond_s=3600,
        masks=("melt stands or has just begun to run", "a changed feed or speed", "the first five cleanings"),
        parameters={
            "cleanings": Parameter(3, "1", "cleanings in a row that show it", 2, 20),
        },
    ),
    "discharge-blocked": Rule(
        cause="The outlet for contaminants is frozen or plugged, or its screw does not turn.",
        consequence="Dirt stacks up before the wiper, cleanings lose their effect, the pressure rises.",
        advice="Look at the temperature of the outlet block. Clearing it is for trained people after "
        "isolation of drives and hydraulics, by the maker's procedure: trapped hot melt can be thrown out.",
        priority=Priority.MEDIUM,
        machine="melt filter",
        alarm_class=MACHINE,
        respond_s=600,
        masks=("melt stands or has just begun to run", "a changed feed or speed", "the first five cleanings"),
        roots=("wiper-slipping", "wiper-stalled"),
        parameters={
            "cleanings": Parameter(2, "1", "cleanings in a row that show it", 2, 20),
        },
    ),
    "wiper-slipping": Rule(
        cause="A broken key or coupling, a lost blade, or a wiper that is not pressed on.",
        consequence="The screen is not cleaned, the pressure rises within minutes; parts may damage it.",
        advice="Whether to stop is the shift leader's decision; opening and inspection by trained people "
        "after isolation, by the maker's procedure.",
        priority=Priority.HIGH,
        machine="melt filter",
        alarm_class=MACHINE,
        respond_s=300,
        masks=("melt stands or has just begun to run", "a changed feed or speed", "the first five cleanings"),
        parameters={
            "cleanings": Parameter(2, "1", "cleanings in a row that show it", 2, 20),
        },
    ),
    "melt-changed": Rule(
        cause="Another material or lot, another melt temperature, or another throughput than set.",
        consequence="Pressures and cleanings change though the screen does not; the trial's points differ.",
        advice="Note the lot and take a sample for the melt flow rate; compare the melt temperature.",
        priority=Priority.LOW,
        machine="extruder",
        alarm_class=QUALITY,
        respond_s=3600,
        masks=(
            "melt stands or has just begun to run",
            "a changed feed or speed",
            "a feed off its set-point",
            "another lot that was told",
        ),
        roots=("feed-starved", "foaming", "material-residue"),
        parameters={
            "cleanings": Parameter(2, "1", "cleanings in a row that show it", 2, 20),
            "told_s": Parameter(2700, "s", "how long after a lot was told it is no news", 0, 36_000),
            "index_percent": Parameter(12, "%", "by how much J may differ all the same", 2, 50),
        },
    ),
    "wiper-stalled": Rule(
        cause="Metal or cold melt holds the wiper, or its drive or encoder has failed.",
        consequence="The screen is not cleaned; the pressure reaches its limit within minutes.",
        advice="The shift leader decides on stopping the feed; no repeated tries against what holds it. "
        "Opening is for trained people after isolation: melt may be hot and under pressure.",
        priority=Priority.HIGH,
        machine="melt filter",
        alarm_class=MACHINE,
        respond_s=300,
        set_point="torque_percent",
        on_delay="held_s",
        masks=("the wiper is not driven",),
        parameters={
            "torque_percent": Parameter(85, "%", "torque above which it is held", 20, 200),
            "turned_deg": Parameter(10, "deg", "turned less than this in three seconds", 1, 90),
            "held_s": Parameter(1, "s", "how long", 0, 60),
        },
    ),
    "wiper-park": Rule(
        cause="The wiper stopped short of its park, or its park sensor is dirty or dead.",
        consequence="The outlet may be half covered; a wiper in the melt's way can be bent at the start.",
        advice="Look at angle and sensor before melt flows. Moving it is for trained people, by the maker's "
        "procedure.",
        priority=Priority.MEDIUM,
        machine="melt filter",
        alarm_class=MACHINE,
        respond_s=600,
        on_delay="rest_s",
        masks=("the wiper moves",),
        parameters={
            "rest_s": Parameter(10, "s", "how long it rests before it counts", 1, 600),
            "sensor_s": Parameter(0, "s", "how long sensor and angle contradict each other", 0, 3600),
        },
    ),
    "screen-torn": Rule(
        cause="The screen has torn, or melt passes beside it through a seal.",
        consequence="Dirt gets into the pellets; all pellets since then are suspect.",
        advice="Whoever decides on the product diverts and keeps apart what came since. Opening the filter "
        "is for trained people after isolation, by the maker's procedure.",
        priority=Priority.HIGH,
        machine="melt filter",
        alarm_class=QUALITY,
        respond_s=300,
        set_point="fall_percent",
        on_delay="held_s",
        masks=("melt stands or has just begun to run", "cleaning", "the die pressure moves as well"),
        parameters={
            "fall_percent": Parameter(25, "%", "by how much J falls", 5, 90),
            "die_percent": Parameter(5, "%", "by how much the die pressure may move", 1, 30),
            "held_s": Parameter(30, "s", "how long it stays there", 10, 600),
        },
    ),
    "pressure-high": Rule(
        cause="A blocked screen or melt line, cold melt, or too much feed.",
        consequence="The machine's own limit trips, or its burst disc opens.",
        advice="The shift leader decides on feed and speed. Nobody stands in front of the die or the filter. "
        "Protection is the machine's own affair: this is none.",
        priority=Priority.HIGH,
        machine="melt filter",
        alarm_class=MACHINE,
        respond_s=120,
        set_point="limit_bar",
        dead_band="dead_band_bar",
        on_delay="held_s",
        off_delay="gone_s",
        masks=("a short peak when melt begins to run",),
        roots=("wiper-stalled", "wiper-slipping", "discharge-blocked"),
        parameters={
            "limit_bar": Parameter(170, "bar", "melt pressure before the filter that counts", 1, 1000),
            "dead_band_bar": Parameter(15, "bar", "how far below it must fall to be over", 0, 200),
            "gone_s": Parameter(60, "s", "how long it is gone before it is over", 0, 3600),
            "held_s": Parameter(5, "s", "how long", 0, 600),
            "trip_bar": Parameter(
                200, "bar", "up to which a rise is looked ahead: the machine's own trip", 1, 1000
            ),
            "start_s": Parameter(300, "s", "so long after melt begins to run a short peak is usual", 0, 3600),
            "start_held_s": Parameter(30, "s", "how long it must hold then", 0, 600),
        },
    ),
    "discharge-loss": Rule(
        cause="The outlet valve does not close, or the outlet is set to open too long.",
        consequence="Good melt is lost, and the discharge figures are wrong.",
        advice="Look at valve seat and settings; the process lead decides.",
        priority=Priority.LOW,
        machine="melt filter",
        alarm_class=QUALITY,
        respond_s=3600,
        set_point="share_percent",
        masks=("melt stands or has just begun to run", "the bin is changed"),
        parameters={
            "share_percent": Parameter(
                20, "%", "share of the discharge between cleanings that counts", 1, 95
            ),
        },
    ),
}
