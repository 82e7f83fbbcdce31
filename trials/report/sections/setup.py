"""Set-up: line, screens, die plate, plan, sensors with what is known of their calibration."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from trials.figures.windows import KEY_TAGS
from trials.record.entries import What
from trials.report.content import Align, Block, Heading, Paragraph, Small, Table
from trials.report.names import capital, name_of_path
from trials.report.speech import NOTHING, marked
from trials.report.view import View

TITLE: Final = marked("Set-up")
_SENSORS: Final = (
    *KEY_TAGS,
    "filter.dp.calc",
    "product.scale.total",
    "filter.discharge.weight.total",
    "extruder.drive.energy.total",
    "line.energy.total",
    "water.supply.temp.pv",
    "water.return.temp.pv",
    "water.flow.pv",
    "pelletizer.knife.speed.pv",
    "pellet.moisture.pv",
)


def blocks(view: View) -> Iterator[Block]:
    """What stands in the section."""
    say, outcome = view.say, view.outcome
    yield Table((), tuple(_machine(view)), say("Line"), weights=(1.6, 3.4))
    yield from _screens(view)
    yield from _plan(view)
    people = outcome.book.all_of(What.PERSON)
    if people:
        rows = tuple((str(e.data["name"]), say(_ROLES[str(e.data["role"])])) for e in people)
        yield Table((say("Name"), say("Part in the trial")), rows, say("People"), weights=(1, 1))
    yield Heading(say("Sensors behind the figures"))
    yield from _sensors(view)
    yield from _zero_checks(view)


_ROLES: Final = {
    "trial engineer": marked("trial engineer"),
    "operator": marked("operator"),
    "laboratory": marked("laboratory"),
    "customer": marked("customer"),
    "process lead": marked("process lead"),
    "maintenance": marked("maintenance"),
}


def _machine(view: View) -> Iterator[tuple[str, str]]:
    say, line = view.say, view.outcome.line
    yield say("Name of the line"), line.name
    if line.barrel_zones:
        yield say("Heated barrel zones"), say.count(line.barrel_zones)
    melt_filter = line.melt_filter
    if melt_filter is not None:
        yield say("Heater plates of the melt filter"), say.count(melt_filter.plates)
        if melt_filter.trigger_dp_bar is not None:
            yield (
                say("Cleaning starts at a pressure difference of"),
                say.told(melt_filter.trigger_dp_bar, "bar"),
            )
        if melt_filter.max_interval_s is not None:
            yield say("Longest time between two cleanings"), say.told(melt_filter.max_interval_s, "s")
    for die in view.outcome.book.all_of(What.DIE):
        data = die.data
        yield (
            say("Die plate"),
            say(
                "{holes} open holes of {hole}, {knives} knives",
                holes=data["holes"],
                hole=view.told(data["hole"], "mm"),
                knives=data["knives"],
            ),
        )


def _screens(view: View) -> Iterator[Block]:
    say = view.say
    screens = view.outcome.book.all_of(What.SCREEN)
    if not screens:
        yield Paragraph(say("Which screens were mounted was not written down."))
        return
    rows = tuple(
        (
            say.moment(e.time_ns),
            str(e.data["serial"]),
            view.told(e.data["fineness"], "um"),
            view.told(e.data.get("area"), "cm2"),
            view.told(e.data.get("open"), "%"),
            say.listed(str(e.data[k]) for k in ("mesh", "why") if e.data.get(k)) or NOTHING,
        )
        for e in screens
    )
    head = (say("Mounted"), say("Serial"), say("Fineness"), say("Area"), say("Open share"), say("Remark"))
    align = (Align.LEFT, Align.LEFT, Align.RIGHT, Align.RIGHT, Align.RIGHT, Align.LEFT)
    yield Table(head, rows, say("Screens"), align, (2.3, 1.2, 1.1, 1.2, 1.2, 2))


def _plan(view: View) -> Iterator[Block]:
    say, plan = view.say, view.outcome.book.only(What.PLAN)
    if not plan:
        yield Paragraph(say("No plan was written down."))
        return
    rows = []
    if plan.get("throughput"):
        rows.append((say("Throughput"), view.told(plan["throughput"], "kg/h")))
    if plan.get("fineness"):
        rows.append((say("Fineness of the screen"), say.listed(view.told(f, "um") for f in plan["fineness"])))
    if plan.get("steady"):
        rows.append((say("Steady for at least"), view.told(plan["steady"], "min")))
    for path, value in plan.get("settings", {}).items():
        tag = view.outcome.tags.get(path)
        shown = view.told(value, tag.unit) if tag is not None else str(value)
        rows.append((capital(name_of_path(path, say)), shown))
    if rows:
        yield Table((), tuple(rows), say("Plan"), weights=(1.6, 3.4))


def _sensors(view: View) -> Iterator[Block]:
    say, traces = view.say, view.outcome.traces
    rows = []
    for path in _SENSORS:
        trace = traces.get(path)
        if trace is None:
            state = say("not recorded")
        elif trace.calibration is None:
            state = say("calibration not known")
        else:
            state = say("calibration in the register of sensors")
        rows.append((capital(name_of_path(path, say)), path, state))
    yield Table((say("Sensor"), say("Tag"), say("State")), tuple(rows), weights=(2.4, 2.2, 2))
    yield Small(say("Of figures that lean on a sensor without a known calibration no uncertainty is stated."))


def _zero_checks(view: View) -> Iterator[Block]:
    say = view.say
    rows = []
    for entry in view.outcome.book.all_of(What.ZERO_CHECK):
        for path, value in entry.data["reading"].items():
            tag = view.outcome.tags.get(path)
            shown = view.told(value, tag.unit) if tag is not None else str(value)
            rows.append((say.moment(entry.time_ns), capital(name_of_path(path, say)), shown))
    if rows:
        yield Table(
            (say("When"), say("Sensor"), say("Reading")),
            tuple(rows),
            say("Readings where a person has confirmed the zero state, by the maker's procedure"),
            (Align.LEFT, Align.LEFT, Align.RIGHT),
            (2, 3, 1.2),
        )
        yield Small(say("No reading says that anything is free of pressure."))
