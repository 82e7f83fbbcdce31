"""The record of a simulated trial: what its people and its laboratory tell, as forms."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any, Final

from historian.event import Event
from simulator.chronicle import Chronicle
from simulator.scenarios.scenario import Scenario
from trials.record import What
from trials.record.filled import Filled

_MEASURES: Final[Mapping[str, str]] = {
    "moisture": "moisture",
    "bulk density": "bulk-density",
    "bulk_density": "bulk-density",
    "mfr": "melt-flow-rate",
    "ash": "ash",
    "filterable dirt": "filterable-dirt",
    "dirt": "contaminant-share",
    "melting peak": "melting-peak",
    "polypropylene": "other-polymer",
    "length": "length",
    "mass10": "mass-of-ten",
    "tails": "tails",
    "agglomerates": "agglomerates",
    "specks": "specks",
}
"""The simulator's names → those of the forms."""

_CONDITIONS: Final[Mapping[str, Mapping[str, str]]] = {
    "moisture": {"method": "loss on drying, 105 Cel, 2 h"},
    "ash": {"method": "600 Cel, 1 h"},
    "melt-flow-rate": {"method": "ISO 1133-1", "temperature": "190 Cel", "load": "2.16 kg"},
}
_RATE: Final = "melt flow rate "


def forms_of(scenario: Scenario, told: Chronicle, t0_ns: int) -> list[Filled]:
    """What is written down in such a trial, in the order of when it was so.

    Args:
        told: of the scenario as it was played.
        t0_ns: time of the scenario's second 0, UTC nanoseconds.
    """
    line = scenario.line
    forms = [
        Filled(
            What.SCREEN,
            {
                "serial": "first",
                "fineness": f"{line.fineness_um:g} um",
                "area": f"{line.screen_area_cm2:g} cm2",
            },
            t0_ns,
            "",
        )
    ]
    for event in [*told.people, *told.laboratory]:
        forms.extend(_forms(event))
    return sorted(forms, key=lambda f: f.time_ns or 0)


def _forms(event: Event) -> Iterator[Filled]:
    data = event.data
    match event.kind:
        case "pre-analysis":
            yield from _pre_analysis(data, event.time_ns)
        case "lab-result":
            yield from _laboratory(data)
        case "lot-change":
            yield Filled(What.LOT, {"lot": "1", "bale": str(data["bale"])}, event.time_ns, "")
        case "screen-change":
            screen = {
                "serial": str(data["serial"]),
                "fineness": f"{data['fineness_um']:g} um",
                "area": f"{data['area_cm2']:g} cm2",
            }
            yield Filled(What.SCREEN, screen, event.time_ns, "")
        case "note" | "plate-out" | "plate-back" | "override":
            yield Filled(What.NOTE, {"text": event.text, "kind": event.kind}, event.time_ns, "")


def _pre_analysis(data: Mapping[str, Any], time_ns: int) -> Iterator[Filled]:
    said = str(data["what"])
    what = "melt-flow-rate" if said.startswith(_RATE) else _MEASURES.get(said)
    if what is None:
        return
    form = {"what": what, "value": _value(data), "method": str(data["method"])}
    if what == "melt-flow-rate":
        cel, _, load = said.removeprefix(_RATE).partition("/")
        form |= {"temperature": f"{cel} Cel", "load": f"{load} kg"}
    yield Filled(What.PRE_ANALYSIS, form, time_ns, "")


def _laboratory(data: Mapping[str, Any]) -> Iterator[Filled]:
    sample, of = str(data["bag"]), str(data["place"])
    yield Filled(What.SAMPLE, {"name": sample, "of": of}, int(data["sample_ns"]), "")
    for name, measured in data["values"].items():
        what = _MEASURES.get(name)
        if what is not None:
            form = {"sample": sample, "what": what, "value": _value(measured), "of": of}
            yield Filled(What.RESULT, {**form, **_CONDITIONS.get(what, {})}, int(data["result_ns"]), "")


def _value(measured: Mapping[str, Any]) -> str:
    return f"{measured['value']:g} {measured['unit']}"


def by_whom(forms: Iterable[Filled]) -> Iterator[tuple[Filled, str]]:
    """Each form with the part of who filled it in."""
    for form in forms:
        laboratory = form.what in (What.PRE_ANALYSIS, What.RESULT)
        yield form, "laboratory" if laboratory else "operator"
