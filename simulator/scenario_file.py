"""Reads a scenario's TOML file and refuses a wrong one with file, line and reason."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable
from difflib import get_close_matches
from pathlib import Path
from typing import Annotated, Any, Self

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, model_validator

from historian.catalogue import meaning_of
from historian.places import line_of
from historian.tags import pattern_of
from simulator.errors import WrongScenario
from simulator.faults import FAULTS, FaultOrder
from simulator.melt import POLYMERS
from simulator.panel import panel_of
from simulator.plant import Plant, PlantDesign
from simulator.scenario import Action, Label, Scenario, Step

FOLDER = Path(__file__).parent / "scenarios"

_PART = re.compile(r"(\d+(?:\.\d+)?)\s*(h|min|s)")
_SECONDS = {"h": 3600.0, "min": 60.0, "s": 1.0}
# Plates are numbered up to here when a file's set-points are checked.
_MOST_PLATES = 12


def seconds_of(text: object) -> float:
    """A stretch of time as people write it, in seconds.

    Example:
        >>> seconds_of("240 min 90 s"), seconds_of("5 h")
        (14490.0, 18000.0)
    """
    if not isinstance(text, str) or not text.strip() or _PART.sub("", text).strip():
        raise ValueError(f"{text!r} is not a time: write it as '90 s', '240 min' or '1 h 30 min'")
    return sum(float(number) * _SECONDS[unit] for number, unit in _PART.findall(text))


Time = Annotated[float, BeforeValidator(seconds_of)]


def _one_of(value: str, known: Iterable[str], what: str) -> str:
    names = list(known)
    if value in names:
        return value
    near = get_close_matches(value, names, 1)
    hint = f"; did you mean '{near[0]}'?" if near else f"; known: {', '.join(sorted(names))}"
    raise ValueError(f"unknown {what} '{value}'{hint}")


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=False)


class _Head(_Part):
    title: str
    seed: int = Field(ge=0)
    duration: Time
    polymer: Annotated[str, BeforeValidator(lambda v: _one_of(v, POLYMERS, "polymer"))] = "LDPE"
    dirt_percent: float = Field(default=1.4, gt=0, le=20)
    plates: int = Field(default=8, ge=3, le=_MOST_PLATES)
    scatter: bool = True


def _settable(path: str) -> str:
    return _one_of(path, _SET_POINTS, "set-point")


def _in_range(path: str, value: float) -> None:
    meaning = meaning_of(path)
    if meaning is not None and not meaning.low <= value <= meaning.high:
        raise ValueError(f"{path} = {value:g} is outside {meaning.low:g}…{meaning.high:g} {meaning.unit}")


class _Step(_Part):
    at: Time
    do: Action
    tag: Annotated[str, BeforeValidator(_settable)] | None = None
    to: float | None = None
    over: Time = 0.0

    @model_validator(mode="after")
    def _complete(self) -> Self:
        if self.do == "set":
            if self.tag is None or self.to is None:
                raise ValueError("a step that sets needs 'tag' and 'to'")
            _in_range(self.tag, self.to)
        elif self.tag is not None or self.to is not None or self.over:
            raise ValueError(f"'tag', 'to' and 'over' belong to do = \"set\", not to '{self.do}'")
        return self


class _Fault(_Part):
    id: str
    fault: Annotated[str, BeforeValidator(lambda v: _one_of(v, FAULTS, "fault"))]
    onset: Time
    end: Time | None = None
    ramp: Time = 0.0
    severity: float = Field(default=1.0, gt=0, le=1)
    place: int | None = Field(default=None, ge=1)

    @model_validator(mode="after")
    def _possible(self) -> Self:
        if self.end is not None and self.end <= self.onset:
            raise ValueError("the end is not after the onset")
        if FAULTS[self.fault].needs_place and self.place is None:
            raise ValueError(f"'{self.fault}' needs 'place', the number of the plate")
        return self


class _Label(_Part):
    id: str
    text: str
    start: Time
    until: Time

    @model_validator(mode="after")
    def _forward(self) -> Self:
        if self.until <= self.start:
            raise ValueError("'until' is not after the start")
        return self


class _File(_Part):
    scenario: _Head
    settings: dict[str, float] = Field(default_factory=dict)
    step: list[_Step] = Field(default_factory=list)
    fault: list[_Fault] = Field(default_factory=list)
    label: list[_Label] = Field(default_factory=list)


_PARTS: dict[str | int, type[_Part]] = {"scenario": _Head, "step": _Step, "fault": _Fault, "label": _Label}


def _all_set_points() -> frozenset[str]:
    design = PlantDesign(POLYMERS["LDPE"])
    paths = set(panel_of(Plant(design)))
    plates = [p for p in paths if p.startswith("filter.plate.1.")]
    for place in range(1, _MOST_PLATES + 1):
        paths |= {p.replace(".1.", f".{place}.", 1) for p in plates}
    return frozenset(paths)


_SET_POINTS = _all_set_points()


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

    def said(place: tuple[str | int, ...], reason: str) -> str:
        return f"{where}:{line_of(text, place)}: {reason}"

    try:
        file = _File.model_validate(raw)
    except ValidationError as error:
        raise WrongScenario("\n".join(said(e["loc"], _reason(dict(e))) for e in error.errors())) from error
    mistakes = [said(place, reason) for place, reason in _mistakes_across(file)]
    if mistakes:
        raise WrongScenario("\n".join(mistakes))
    return _scenario(name, file)


def _reason(error: dict[str, Any]) -> str:
    """One mistake as a person reads it."""
    key = ".".join(str(part) for part in error["loc"])
    if error["type"] == "extra_forbidden":
        part = _PARTS.get(error["loc"][0], _File) if len(error["loc"]) > 1 else _File
        near = get_close_matches(str(error["loc"][-1]), list(part.model_fields), 1)
        return f"unknown key '{key}'" + (f"; did you mean '{near[0]}'?" if near else "")
    if error["type"] == "missing":
        return f"'{key}' is missing"
    return f"{key}: {error['msg'].removeprefix('Value error, ')}"


def _mistakes_across(file: _File) -> list[tuple[tuple[str | int, ...], str]]:
    """What no part can see alone."""
    found: list[tuple[tuple[str | int, ...], str]] = []
    head = file.scenario
    for path, value in file.settings.items():
        for each in _spread(path, head.plates):
            try:
                _in_range(_settable(each), value)
            except ValueError as error:
                found.append((("settings", path), str(error)))
                break
    seen: set[str] = set()
    for k, fault in enumerate(file.fault):
        if fault.id in seen:
            found.append((("fault", k, "id"), f"the id '{fault.id}' is there twice"))
        seen.add(fault.id)
        if fault.place is not None and fault.place > head.plates:
            found.append((("fault", k, "place"), f"place {fault.place}: the filter has {head.plates} plates"))
        if fault.onset >= head.duration:
            found.append((("fault", k, "onset"), "the onset is not before the end of the scenario"))
    for k, step in enumerate(file.step):
        if step.at >= head.duration:
            found.append((("step", k, "at"), "the step is not before the end of the scenario"))
    return found


def _spread(path: str, plates: int) -> list[str]:
    """The paths that one with ``*`` in it stands for."""
    if "*" not in path:
        return [path]
    if pattern_of(path).startswith("filter.plate.*."):
        return [path.replace("*", str(n), 1) for n in range(1, plates + 1)]
    matching = sorted(p for p in _SET_POINTS if pattern_of(p) == path)
    return matching or [path]


def _scenario(name: str, file: _File) -> Scenario:
    head = file.scenario
    steps = [Step(s.at, s.do, s.tag or "", s.to or 0.0, s.over) for s in file.step]
    return Scenario(
        name=name,
        title=head.title,
        seed=head.seed,
        duration_s=head.duration,
        polymer=head.polymer,
        dirt_percent=head.dirt_percent,
        plates=head.plates,
        scatter=head.scatter,
        settings={p: v for path, v in file.settings.items() for p in _spread(path, head.plates)},
        steps=tuple(sorted(steps, key=lambda s: s.at_s)),
        faults=tuple(
            FaultOrder(f.id, f.fault, f.onset, f.end, f.ramp, f.severity, f.place) for f in file.fault
        ),
        labels=tuple(Label(x.id, x.text, x.start, x.until) for x in file.label),
    )
