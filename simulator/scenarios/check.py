"""What is wrong with a scenario that no single entry of it can see."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from simulator.faults import FAULTS
from simulator.machines.melt import POLYMERS
from simulator.scenarios.scenario import Scenario, Step
from simulator.scenarios.set_points import (
    NAMES,
    hottest_cel,
    mistake_in_set_point,
    mistake_in_tag,
    mistake_in_value,
)

Where = tuple[str | int, ...]
Mistake = tuple[Where, str]

# Two acts that undo each other make no sense in the same second.
_SWITCHES = ("heating", "screw", "water", "knives", "override", "diverter")


def mistakes(scenario: Scenario) -> list[Mistake]:
    """Every mistake, with the place of its key in the file; the steps' places are those in ``steps``."""
    return [
        *_in_head(scenario),
        *_in_material(scenario),
        *_in_settings(scenario),
        *_in_steps(scenario),
        *_in_faults(scenario),
        *_in_labels(scenario),
        *_in_samples(scenario),
        *_in_notes(scenario),
        *_in_sources(scenario),
    ]


def _in_head(scenario: Scenario) -> Iterator[Mistake]:
    if scenario.opens_s and (late := _late(scenario.opens_s, scenario, "'opens'")):
        yield ("scenario", "opens"), late


def _in_material(scenario: Scenario) -> Iterator[Mistake]:
    sheet = scenario.material
    hottest = hottest_cel(scenario.settings)
    limit = POLYMERS[sheet.polymer].reference_cel if hottest is None else hottest
    for peak in sheet.dsc_peaks_cel:
        if peak >= limit:
            yield (
                ("material", "dsc_peaks_cel"),
                f"a peak at {peak:g} Cel would not melt: the hottest set-point is {limit:g} Cel",
            )


def _in_settings(scenario: Scenario) -> Iterator[Mistake]:
    for path, value in scenario.settings.items():
        reason = mistake_in_set_point(path, scenario.line) or mistake_in_value(path, value)
        if reason:
            yield ("settings", path), reason


def _late(at_s: float, scenario: Scenario, what: str) -> str | None:
    return None if at_s < scenario.duration_s else f"{what} is not before the end of the scenario"


def _in_steps(scenario: Scenario) -> Iterator[Mistake]:
    line = scenario.line
    for k, step in enumerate(scenario.steps):
        if late := _late(step.at_s, scenario, "the step"):
            yield ("step", k, "at"), late
        if step.do == "probe change":
            if reason := mistake_in_tag(step.tag, line):
                yield ("step", k, "tag"), reason
        elif step.tag:
            if reason := mistake_in_set_point(step.tag, line):
                yield ("step", k, "tag"), reason
            elif reason := mistake_in_value(step.tag, step.to):
                yield ("step", k, "to"), reason
        if step.place > line.plates:
            yield ("step", k, "place"), f"place {step.place}: the line has {line.plates} heater plates"
    yield from _at_odds(scenario.steps)
    yield from _out_of_turn(scenario.steps)


def _at_odds(steps: Sequence[Step]) -> Iterator[Mistake]:
    """Acts in one second that undo each other."""
    seen: dict[tuple[float, str], int] = {}
    for k, step in enumerate(steps):
        switch = step.do.split()[0]
        subject = step.tag or (switch + step.key if switch in _SWITCHES else "")
        if not subject:
            continue
        other = seen.setdefault((step.at_s, subject), k)
        before = steps[other]
        if other != k and (before.do, before.to, before.over_s) != (step.do, step.to, step.over_s):
            yield ("step", k, "do"), f"'{step.do}' beside '{before.do}' in the same second"


def _out_of_turn(steps: Sequence[Step]) -> Iterator[Mistake]:
    """Acts that the state of the line, as the steps before make it, rules out."""
    out: set[int] = set()
    screw = False
    for k, step in sorted(enumerate(steps), key=lambda pair: pair[1].at_s):
        match step.do:
            case "screw on" | "screw off":
                screw = step.do == "screw on"
            case "take out" if step.place in out:
                yield ("step", k, "place"), f"plate {step.place} is out already"
            case "take out":
                out.add(step.place)
            case "put back" if step.place not in out:
                yield ("step", k, "place"), f"plate {step.place} has not been taken out"
            case "put back":
                out.discard(step.place)
            case "screen change" | "blade change" | "knife change" | "clear outlet" if screw:
                yield ("step", k, "do"), f"'{step.do}' while the screw turns: switch it off before"


def _in_faults(scenario: Scenario) -> Iterator[Mistake]:
    seen: set[str] = set()
    labels = {label.id: label for label in scenario.labels}
    for k, fault in enumerate(scenario.faults):
        if fault.id in seen:
            yield ("fault", k, "id"), f"the id '{fault.id}' is there twice"
        seen.add(fault.id)
        if fault.id.startswith("GT-") and fault.id not in labels:
            yield (
                ("fault", k, "id"),
                f"'{fault.id}' is ground truth, but no label of that id says what to find",
            )
        label = labels.get(fault.id)
        if label is not None and label.fault != fault.fault:
            yield ("fault", k, "fault"), f"'{fault.fault}', but the label '{label.id}' says '{label.fault}'"
        if late := _late(fault.onset_s, scenario, "the onset"):
            yield ("fault", k, "onset"), late
        numbered = FAULTS[fault.fault].numbered
        if fault.place is not None and numbered:
            count = scenario.line.places().get(numbered, 0)
            if fault.place > count:
                yield ("fault", k, "place"), f"place {fault.place}: the line has {count} {NAMES[numbered]}"
        if fault.tag and (reason := mistake_in_tag(fault.tag, scenario.line)):
            yield ("fault", k, "tag"), reason
        yield from _twice(scenario, k)


def _twice(scenario: Scenario, k: int) -> Iterator[Mistake]:
    """One fault on one thing, begun again before it has ended."""
    fault = scenario.faults[k]
    for other in scenario.faults[:k]:
        same = (other.fault, other.place, other.tag, other.source)
        if same != (fault.fault, fault.place, fault.tag, fault.source):
            continue
        first, second = sorted((other, fault), key=lambda f: f.onset_s)
        if first.end_s is None or second.onset_s < first.end_s:
            yield ("fault", k, "onset"), f"'{fault.fault}' is under way already, by '{other.id}'"


def _in_labels(scenario: Scenario) -> Iterator[Mistake]:
    seen: set[str] = set()
    for k, label in enumerate(scenario.labels):
        if label.id in seen:
            yield ("label", k, "id"), f"the id '{label.id}' is there twice"
        seen.add(label.id)
        if late := _late(label.from_s, scenario, "the label"):
            yield ("label", k, "start"), late
        if label.until_s > scenario.duration_s:
            yield ("label", k, "until"), "the label ends after the end of the scenario"
        for tag in label.tags:
            if reason := mistake_in_tag(tag, scenario.line):
                yield ("label", k, "tags"), reason


def _in_samples(scenario: Scenario) -> Iterator[Mistake]:
    seen: set[str] = set()
    for k, sample in enumerate(scenario.samples):
        if sample.bag in seen:
            yield ("sample", k, "bag"), f"bag '{sample.bag}' is there twice"
        seen.add(sample.bag)
        if late := _late(sample.at_s, scenario, "the sample"):
            yield ("sample", k, "at"), late


def _in_notes(scenario: Scenario) -> Iterator[Mistake]:
    for k, note in enumerate(scenario.notes):
        if late := _late(note.at_s, scenario, "the note"):
            yield ("note", k, "at"), late


def _in_sources(scenario: Scenario) -> Iterator[Mistake]:
    seen: set[str] = set()
    for k, source in enumerate(scenario.sources):
        if source.name in seen:
            yield ("source", k, "name"), f"source '{source.name}' is there twice"
        seen.add(source.name)
