"""Reads a scenario's TOML file and refuses a wrong one with file, line and reason."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import cast

from pydantic import ValidationError

from historian.places import line_of
from simulator.errors import WrongScenario
from simulator.faults import FaultOrder
from simulator.scenarios.check import Where, mistakes
from simulator.scenarios.scenario import (
    Action,
    Analysis,
    Label,
    LineSheet,
    Lot,
    MaterialSheet,
    MeltFlow,
    Note,
    Sample,
    Scenario,
    Screen,
    SourceSheet,
    Step,
)
from simulator.scenarios.schema import File, LinePart, MaterialPart, StepPart, reason_of, seconds_of
from simulator.scenarios.set_points import spread

__all__ = ["FOLDER", "load_scenario", "read_scenario", "scenario_names", "seconds_of"]

FOLDER = Path(__file__).parent


def scenario_names() -> list[str]:
    """The scenarios that come with the simulator."""
    return sorted(file.stem for file in FOLDER.glob("*.toml"))


def load_scenario(name: str | Path) -> Scenario:
    """The scenario of that name, or of that file.

    Raises:
        WrongScenario: with every mistake of the file, each with its line; or naming the known scenarios.
    """
    path = Path(name)
    if path.suffix != ".toml":
        if str(name) not in scenario_names():
            raise WrongScenario(
                f"no scenario '{name}': known are {', '.join(scenario_names())}; "
                "or give the path of a .toml file"
            )
        path = FOLDER / f"{name}.toml"
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise WrongScenario(
            f"{path}: the scenario cannot be read ({error}); give the path of a TOML file"
        ) from error
    return read_scenario(text, name=path.stem, where=str(path))


def read_scenario(text: str, *, name: str, where: str) -> Scenario:
    """The scenario that a TOML text tells.

    Args:
        where: what the text is called in error messages.

    Raises:
        WrongScenario: with every mistake, each with its line.
    """
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        line = re.search(r"at line (\d+)", str(error))
        at = f":{line.group(1)}" if line else ""
        raise WrongScenario(f"{where}{at}: not TOML: {error}") from error

    def said(place: Where, reason: str) -> str:
        return f"{where}:{line_of(text, place)}: {reason}"

    try:
        file = File.model_validate(raw)
    except ValidationError as error:
        raise WrongScenario("\n".join(said(e["loc"], reason_of(dict(e))) for e in error.errors())) from error
    scenario, places = _scenario(name, file)
    found = list(dict.fromkeys(said(places.get(p, p), reason) for p, reason in mistakes(scenario)))
    if found:
        raise WrongScenario("\n".join(found))
    return scenario


def _scenario(name: str, file: File) -> tuple[Scenario, dict[Where, Where]]:
    """The scenario, and where in the file the keys stand that have been moved on the way."""
    head, line = file.scenario, _line(file.line)
    settings, places = _settings(file, line)
    acts = [k for k, s in enumerate(file.step) if s.do not in ("note", "mark")]
    acts.sort(key=lambda k: file.step[k].at)
    notes, told = _notes(file)
    places |= _moved("step", [("step", k) for k in acts]) | _moved("note", told)
    scenario = Scenario(
        name=name,
        title=head.title,
        seed=head.seed,
        duration_s=head.duration,
        customer=head.customer,
        trial=head.trial,
        opens_s=head.opens,
        material=_material(file.material),
        line=line,
        scatter=head.scatter,
        settings=settings,
        steps=tuple(_step(file.step[k]) for k in acts),
        faults=tuple(
            FaultOrder(f.id, f.fault, f.onset, f.end, f.ramp, f.severity, f.place, f.tag, f.source)
            for f in file.fault
        ),
        labels=_labels(file),
        samples=tuple(Sample(s.bag, s.at, s.place, tuple(s.measures), s.results) for s in file.sample),
        notes=notes,
        pre_analysis=tuple(Analysis(a.what, a.value, a.unit, a.method) for a in file.pre_analysis),
        sources=tuple(SourceSheet(s.name, s.clock_ahead_s) for s in file.source),
    )
    return scenario, places


def _settings(file: File, line: LineSheet) -> tuple[dict[str, float], dict[Where, Where]]:
    settings: dict[str, float] = {}
    places: dict[Where, Where] = {}
    for path, value in file.settings.items():
        for each in spread(path, line):
            settings[each] = value
            places["settings", each] = ("settings", path)
    return settings, places


def _notes(file: File) -> tuple[tuple[Note, ...], list[Where]]:
    """Notes and marks in order of time, and where each stands in the file."""
    told: list[tuple[Note, Where]] = [
        (Note(x.at, x.role, x.text), ("note", k)) for k, x in enumerate(file.note)
    ]
    for k, step in enumerate(file.step):
        if step.do in ("note", "mark"):
            key = step.key or ""
            told.append((Note(step.at, "operator", step.text or key, key), ("step", k)))
    told.sort(key=lambda pair: pair[0].at_s)
    return tuple(note for note, _ in told), [where for _, where in told]


def _moved(table: str, order: list[Where]) -> dict[Where, Where]:
    """Where the keys of each entry stand that now has another number."""
    keys = StepPart.model_fields
    return {(table, new, key): (*old, key) for new, old in enumerate(order) for key in keys}


def _material(part: MaterialPart) -> MaterialSheet:
    values = part.model_dump()
    values["mfr"] = tuple(MeltFlow(**one) for one in values["mfr"])
    values["dsc_peaks_cel"] = tuple(values["dsc_peaks_cel"])
    return MaterialSheet(**values)


def _line(part: LinePart) -> LineSheet:
    values = part.model_dump()
    values["soak_s"] = values.pop("soak")
    return LineSheet(**values)


def _labels(file: File) -> tuple[Label, ...]:
    return tuple(
        Label(
            x.id,
            x.text,
            x.start,
            x.until,
            x.must_stay_quiet,
            x.fault,
            tuple(x.tags),
            x.expected_severity,
            x.must_detect_within,
            tuple(x.must_not_alarm),
        )
        for x in file.label
    )


def _step(part: StepPart) -> Step:
    screen = lot = None
    if part.do == "screen change" and part.serial is not None:
        screen = Screen(part.serial, part.fineness_um, part.area_cm2)
    if part.do == "lot change":
        names = Lot.__dataclass_fields__
        lot = Lot(**{name: getattr(part, name) for name in names})
    return Step(
        part.at,
        cast("Action", part.do),
        part.tag or "",
        0.0 if part.to is None else part.to,
        part.over or 0.0,
        part.place or 0,
        part.key or "",
        screen,
        lot,
    )
