"""What people write down in a scenario, and what changes without a number, as events in order of time."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import fields
from typing import Any

from historian.event import Event
from simulator.moments import at_ns
from simulator.scenarios.scenario import Lot, Scenario, Step

# Acts that no tag shows, or that shows what was put in; all others are set-points or states.
_TOLD = {
    "screen change": "screen-change",
    "blade change": "blade-change",
    "knife change": "knife-change",
    "clear outlet": "outlet-cleared",
    "probe change": "probe-change",
    "lot change": "lot-change",
    "take out": "plate-out",
    "put back": "plate-back",
    "override on": "override",
    "override off": "override",
}


def events_of(scenario: Scenario, t0_ns: int) -> list[Event]:
    """The scenario's events, by time; those of the same second in the order of this list of sources.

    Pre-analysis first, at second 0; then acts that no tag shows; then notes and marks. Laboratory results are
    not among them: they follow from the plant (``simulator.people.bags``).

    Args:
        t0_ns: time of the scenario's second 0, UTC nanoseconds.
    """
    events = [*_pre_analysis(scenario, t0_ns), *_acts(scenario, t0_ns), *_notes(scenario, t0_ns)]
    return sorted(events, key=lambda e: e.time_ns)


def _pre_analysis(scenario: Scenario, t0_ns: int) -> Iterator[Event]:
    for one in scenario.pre_analysis:
        by = f", {one.method}" if one.method else ""
        data = {"what": one.what, "value": one.value, "unit": one.unit, "method": one.method}
        yield Event(t0_ns, "laboratory", "pre-analysis", f"{one.what} {one.value:g} {one.unit}{by}", data)


def _acts(scenario: Scenario, t0_ns: int) -> Iterator[Event]:
    for step in scenario.steps:
        if step.do in _TOLD:
            data = _data(step)
            what = ", ".join(f"{key} {value}" for key, value in data.items() if key != "do")
            text = f"{step.do}: {what}" if what else step.do
            yield Event(at_ns(t0_ns, step.at_s), "operator", _TOLD[step.do], text, data)


def _notes(scenario: Scenario, t0_ns: int) -> Iterator[Event]:
    for note in scenario.notes:
        data = {"what": note.mark} if note.mark else {}
        kind = "mark" if note.mark else "note"
        yield Event(at_ns(t0_ns, note.at_s), note.role, kind, note.text, data)


def _data(step: Step) -> Mapping[str, Any]:
    data: dict[str, Any] = {"do": step.do}
    if step.place:
        data["place"] = step.place
    if step.key:
        data["key"] = step.key
    if step.tag:
        data |= {"tag": step.tag, "to": step.to}
    if step.screen is not None:
        data["serial"] = step.screen.serial
        data |= {k: v for k in ("fineness_um", "area_cm2") if (v := getattr(step.screen, k)) is not None}
    if step.lot is not None:
        # What is written on the bag; its moisture and dirt are for the laboratory to find out.
        data |= {f.name: v for f in fields(Lot)[:2] if (v := getattr(step.lot, f.name)) is not None}
    return data
