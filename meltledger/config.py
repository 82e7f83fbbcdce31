"""Reads a line's file: every fault at once, each with its line, its key and what to do."""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from collector.reading.mapping import scaling_of
from historian.catalogue import canonical_tag, meaning_of
from historian.errors import WrongInput
from historian.retention import Keep
from historian.tags import Tag
from historian.units import quantity
from meltledger.checked_toml import fault_at, read_checked
from meltledger.errors import LineFileWrong
from meltledger.linefile import (
    OF_EMBEDDED,
    OF_INFLUXDB,
    LineFile,
    Machine,
    Place,
    RuleSection,
    Source,
    StoreSection,
    TagSection,
)
from rules.detectors import detectors_for
from rules.line import LineFacts, MeltFilter, RuleSetting
from rules.table import RULES


@dataclass(frozen=True, slots=True)
class LineConfig:
    """A line as its file describes it, with paths resolved and units made canonical.

    Attributes:
        path: the file.
        file: its keys.
        folder: of the store.
        journal: file of the journal.
        trials: file of the trial record.
        facts: what the rules need.
        tags: every tag that a source delivers, without numbers.
        simulated: whether its sources are simulated.
        keep: how long the embedded store keeps samples and rollups.
    """

    path: Path
    file: LineFile
    folder: Path
    journal: Path
    trials: Path
    facts: LineFacts
    tags: tuple[Tag, ...]
    simulated: bool
    keep: Keep


def load(path: Path) -> LineConfig:
    """The line that a file describes.

    Raises:
        LineFileWrong: with every fault found.
        WrongInput: the file cannot be read.
    """
    text, file = read_checked(path, LineFile, "docs/line-file.md")
    faults = [fault_at(text, key, said) for key, said in _meaning_faults(file)]
    if faults:
        raise LineFileWrong(path, faults)
    folder = path.parent / file.store.path
    journal = path.parent / file.journal.path if file.journal.path else folder / "journal.db"
    simulated = file.source[0].simulated
    keep = Keep.read(raw=file.store.keep_raw, minute=file.store.keep_minute, hour=file.store.keep_hour)
    return LineConfig(
        path, file, folder, journal, folder / "trials.db", _facts(file), tuple(_tags(file)), simulated, keep
    )


def _meaning_faults(file: LineFile) -> Iterator[tuple[Place, str]]:
    """What is well formed but cannot be meant."""
    yield from _store_faults(file.store)
    yield from _source_faults(file.source)
    if file.digest is not None:
        yield from (((("digest", *key)), said) for key, said in file.digest.faults())
    for number, machine in enumerate(file.machine):
        yield from _machine_faults(machine, number, file)
    kinds = [m.kind for m in file.machine]
    for kind in sorted({k for k in kinds if kinds.count(k) > 1}):
        yield (
            ("machine", len(kinds) - 1 - kinds[::-1].index(kind)),
            f"the file has two machines of kind '{kind}'",
        )
    yield from _rule_faults(file)


def _store_faults(store: StoreSection) -> Iterator[tuple[Place, str]]:
    given = store.model_fields_set
    if store.kind == "embedded":
        for key in sorted(given & set(OF_INFLUXDB)):
            yield ("store", key), 'belongs to kind = "influxdb"; the embedded store needs no server'
        return
    for key in sorted(given & set(OF_EMBEDDED)):
        what = "commits are always synced" if key == "synchronous" else "set it there, for the database"
        yield ("store", key), f'belongs to kind = "embedded"; with a server, {what}. Take it out'
    if store.url is None:
        yield ("store",), 'an InfluxDB store needs its server: add url = "http://HOST:8086"'
    if store.database is None:
        yield ("store",), 'an InfluxDB store needs its database: add database = "line" or what it is called'
    if store.token_env is not None and store.token_file is not None:
        yield ("store", "token_file"), "the token stands in one place: take out token_env or token_file"


def _source_faults(sources: Sequence[Source]) -> Iterator[tuple[Place, str]]:
    if len({s.simulated for s in sources}) > 1:
        at = next(i for i, s in enumerate(sources) if s.simulated != sources[0].simulated)
        yield (
            ("source", at, "simulated"),
            "a line is either simulated or real: its data must never be mixed. Give simulated sources a line "
            "and a store of their own",
        )
    names: set[str] = set()
    delivered: dict[str, str] = {}
    for number, source in enumerate(sources):
        if source.name in names:
            yield ("source", number, "name"), f"two sources are named '{source.name}'; rename one"
        if source.name == "edge":
            yield (
                ("source", number, "name"),
                "'edge' is the recorder's own name; name this one after its machine",
            )
        names.add(source.name)
        yield from (((("source", number, *key)), said) for key, said in source.faults())
        for path, tag in source.delivers.items():
            key = ("source", number, "tags", path)
            if path in delivered:
                yield key, f"source '{delivered[path]}' delivers this tag already; keep one of the two"
            delivered[path] = source.name
            yield from ((key, said) for said in _tag_faults(path, tag))


def _tag_faults(path: str, tag: TagSection) -> Iterator[str]:
    if path.startswith("edge."):
        yield "paths that begin with edge. are the recorder's own; name this one after its machine"
    known = canonical_tag(path)
    is_own = meaning_of(path) is None
    try:
        channel = tag.wiring(known)
        if is_own and channel is None and tag.unit is None:
            yield 'this path is not in the catalogue, so it must say its unit: add unit = "…" ("1" for none)'
        else:
            scaling_of(tag.mapping(path, known.unit), _tag(path, tag) if is_own else known)
    except WrongInput as error:
        yield str(error)
    yield from tag.faults()
    yield from tag.confirm_faults(path)


def _machine_faults(machine: Machine, number: int, file: LineFile) -> Iterator[tuple[Place, str]]:
    at: Place = ("machine", number)
    delivered = {path for source in file.source for path in source.delivers}
    if machine.kind == "melt-filter" and machine.plates is None:
        yield at, "a melt filter needs its number of heater plates: add plates = 8, or what it has"
    if machine.kind != "melt-filter" and (machine.cleaning or machine.plates is not None):
        yield at, f"plates and cleaning belong to a machine of kind 'melt-filter', not '{machine.kind}'"
    if machine.plates_out_permitted:
        if machine.plates_out_permitted >= (machine.plates or 1):
            yield (*at, "plates_out_permitted"), "fewer than all plates may be permitted to be out"
        if not machine.permitted_by:
            yield (
                (*at, "plates_out_permitted"),
                "only what the maker's manual permits, with the name of who entered it: add permitted_by",
            )
    for place, cleaning in enumerate(machine.cleaning):
        key = (*at, "cleaning", place)
        if cleaning.because == "load":
            if cleaning.tag is None or cleaning.above is None:
                yield key, "a cleaning because of load needs tag and above"
            elif cleaning.tag not in delivered and cleaning.tag != "filter.dp.calc":
                yield (*key, "tag"), f"no source delivers '{cleaning.tag}'; add it to a source's tags"
        elif cleaning.after is None:
            yield key, 'a cleaning by the clock needs after = "9 min" or what is set'


def _rule_faults(file: LineFile) -> Iterator[tuple[Place, str]]:
    for number, rule in enumerate(file.rule):
        if rule.kind not in RULES:
            near = difflib.get_close_matches(rule.kind, RULES, n=1, cutoff=0.3)
            hint = f"the nearest is '{near[0]}'" if near else f"known are {', '.join(RULES)}"
            yield ("rule", number, "kind"), f"there is no rule '{rule.kind}'; {hint}"
            continue
        for key, value in (rule.model_extra or {}).items():
            try:
                _parameter(rule.kind, key, value)
            except WrongInput as error:
                yield ("rule", number, key), str(error)
        try:
            detectors_for(replace(_facts(file), rules={rule.kind: _setting(rule)}), {})
        except WrongInput as error:
            yield ("rule", number), str(error)


def _facts(file: LineFile) -> LineFacts:
    machines = {m.kind: m for m in file.machine}
    extruder, melt_filter = machines.get("extruder"), machines.get("melt-filter")
    return LineFacts(
        name=file.line.name,
        melt_filter=_melt_filter(melt_filter) if melt_filter else None,
        barrel_zones=(extruder.zones or 0) if extruder else 0,
        planned_kg_h=file.plan.throughput,
        rules={r.kind: _setting(r) for r in file.rule},
    )


def _melt_filter(machine: Machine) -> MeltFilter:
    load = next((c for c in machine.cleaning if c.because == "load" and c.tag == "filter.dp.calc"), None)
    clock = next((c for c in machine.cleaning if c.because == "clock"), None)
    return MeltFilter(
        plates=machine.plates or 0,
        plates_out_permitted=machine.plates_out_permitted,
        trigger_dp_bar=load.above if load else None,
        trigger_held_s=(load.held or 0.0) if load else 0.0,
        max_interval_s=clock.after if clock else None,
        park_deg=machine.park.at,
        park_tolerance_deg=machine.park.tolerance,
        screen_area_cm2=machine.screen_area,
        fineness_um=machine.fineness,
        heater_a=machine.heater.current,
        heater_kw=machine.heater.power,
    )


def _setting(rule: RuleSection) -> RuleSetting:
    numbers: dict[str, float] = {}
    for key, value in (rule.model_extra or {}).items():
        try:
            name, number = _parameter(rule.kind, key, value)
        except WrongInput:
            continue  # told by _rule_faults, with its line
        numbers[name] = number
    return RuleSetting(rule.enabled, rule.priority, rule.advice, numbers, rule.latching)


def _parameter(kind: str, key: str, value: Any) -> tuple[str, float]:
    """A rule's key in the file, written with its unit, as the detector's parameter and number."""
    about = RULES[kind].parameters if kind in RULES else {}
    spoken = {spoken_name(name, parameter.unit): name for name, parameter in about.items()}
    if key not in spoken:
        near = difflib.get_close_matches(key, spoken, n=1, cutoff=0.3)
        hint = f"the nearest is '{near[0]}'" if near else f"known are {', '.join(spoken) or 'none'}"
        raise WrongInput(f"rule '{kind}' has no '{key}'; {hint}")
    parameter = about[spoken[key]]
    if isinstance(value, str):
        return spoken[key], quantity(value, parameter.unit)
    if isinstance(value, bool) or not isinstance(value, int | float) or parameter.unit != "1":
        raise WrongInput(
            f'write it as a number with its unit, as text: "{parameter.default:g} {parameter.unit}"'
        )
    return spoken[key], float(value)


# How a parameter's name ends for each unit; a line's file says the unit itself and leaves the ending out.
_ENDINGS = {
    "s": "_s",
    "%": "_percent",
    "bar": "_bar",
    "K/min": "_k_min",
    "K": "_k",
    "Cel": "_cel",
    "kg/h": "_kg_h",
    "kW": "_kw",
    "A": "_a",
    "deg": "_deg",
    "/min": "_per_min",
}


def spoken_name(name: str, unit: str) -> str:
    """A parameter's name as a line's file writes it.

    Example:
        >>> spoken_name("horizon_s", "s"), spoken_name("cycles", "1")
        ('horizon', 'cycles')
    """
    return name.removesuffix(_ENDINGS.get(unit, ""))


def _tags(file: LineFile) -> Iterator[Tag]:
    for source in file.source:
        for path, tag in source.delivers.items():
            yield _tag(path, tag, source.name, simulated=source.simulated)


def _tag(path: str, about: TagSection, source: str = "", *, simulated: bool = False) -> Tag:
    wiring = about.wiring()
    unit = wiring.unit if wiring is not None else about.unit
    tag = canonical_tag(path, source=source, simulated=simulated, unit=unit or "1")
    return replace(tag, text=about.text) if about.text and meaning_of(path) is None else tag
