"""Settles which cell of a row is which tag, in which unit; every doubt is a fault, told with the others."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

from historian.catalogue import canonical_tag, meaning_of
from historian.errors import UnitMismatch, WrongInput
from historian.exchange._table import shown
from historian.exchange._written import MESH, Heading, heading_of, is_mesh, unit_of
from historian.exchange.mapping import ColumnSection, CsvMapping
from historian.tags import Tag, TagKind
from historian.units import (
    ABSOLUTE,
    PRESSURES,
    conversion,
    difference_scale,
    difference_unit,
    pressure_conversion,
)

_LENGTHS: Final = frozenset({"um", "mm", "cm", "m", "[in_i]"})
_TEMPERATURES: Final = frozenset({"Cel", "[degF]"})
_SWITCH_WORDS: Final = {"on": 1.0, "off": 0.0, "true": 1.0, "false": 0.0, "yes": 1.0, "no": 0.0}

Key = tuple[str | int, ...]


@dataclass(frozen=True, slots=True)
class ColumnPlan:
    """How the cells of one column become samples of one tag.

    Attributes:
        place: of the cell in a row, from 0; -1 in the long form.
        name: as the file has it.
        tag: as it will be kept, number 0 when the store does not know it yet.
        unit: UCUM code of the file; empty where each row has its own.
        reference: ``gauge`` or ``absolute`` as the file or the mapping says of the whole column, or empty.
        scale, offset: kept value = value · scale + offset.
        words: lower-case word → value.
        difference: whether the values are differences, which convert without an offset.
        ambient: the air's absolute pressure as the mapping states it; empty when it does not.
    """

    place: int
    name: str
    tag: Tag
    unit: str
    reference: str
    scale: float = 1.0
    offset: float = 0.0
    words: Mapping[str, float] = field(default_factory=dict)
    difference: bool = False
    ambient: str = ""

    def conversion(self, unit: str, reference: str) -> tuple[float, float]:
        """(scale, offset) from a unit and reference of the file to the tag's.

        Raises:
            WrongInput: naming the tag.
        """
        tag = self.tag
        if self.difference and tag.unit in _TEMPERATURES:
            raise UnitMismatch(
                f"{tag.path} is kept as a temperature and the file has a difference of temperatures: give it "
                "a tag of its own"
            )
        try:
            if self.difference:
                return difference_scale(unit, tag.unit), 0.0
            if tag.unit in PRESSURES:
                return _pressure(unit, reference, tag, self.ambient)
            return conversion(unit, tag.unit)
        except UnitMismatch as error:
            raise UnitMismatch(f"{tag.path}: {error}") from error


@dataclass(frozen=True, slots=True)
class Plan:
    """Where everything stands in a row.

    Attributes:
        columns: one a tag.
        time: places of the cells that make the stamp.
        long: places of name, value, unit and quality in the long form, -1 for what there is not.
        left_out: columns of the file that the mapping does not name (wide form).
        width: cells that a row must have.
    """

    columns: tuple[ColumnPlan, ...]
    time: tuple[int, ...]
    long: Mapping[str, int]
    left_out: tuple[str, ...]
    width: int


class _Header:
    """The header's cells, found by name or number."""

    def __init__(self, names: Sequence[str], units: Sequence[str]) -> None:
        self.names = [shown(" ".join(n.split()), 200) for n in names]
        self._units = units
        self._heads = [heading_of(n) for n in names]

    def find(self, wanted: str | int) -> int:
        """The place of a column.

        Raises:
            WrongInput: there is none, or several.
        """
        if isinstance(wanted, int):
            if self.names and wanted > len(self.names):
                raise WrongInput(f"the file has {len(self.names)} columns, no number {wanted}")
            return wanted - 1
        low = " ".join(wanted.split()).casefold()
        places = [k for k, n in enumerate(self.names) if n.casefold() == low]
        places = places or [k for k, h in enumerate(self._heads) if h.name.casefold() == low]
        if len(places) == 1:
            return places[0]
        if places:
            numbers = ", ".join(str(p + 1) for p in places)
            raise WrongInput(f"the header has '{wanted}' {len(places)} times: give number = one of {numbers}")
        known = ", ".join(self.names[:12]) or "nothing: give number = … instead"
        raise WrongInput(f"the header has no column '{wanted}'; it has {known}")

    def said(self, place: int) -> Heading:
        """What the header, or the line of units, says of a column."""
        head = self._heads[place] if place < len(self._heads) else Heading("")
        if head.unit or place >= len(self._units) or not self._units[place].strip():
            return head
        written = self._units[place].strip()
        written = written[1:-1] if written[0] + written[-1] in ("[]", "()") else written
        return Heading(head.name, *unit_of(written))


def plan_columns(
    mapping: CsvMapping, names: Sequence[str], units: Sequence[str], known: Mapping[str, Tag]
) -> Plan:
    """Where everything stands, and how values convert.

    Args:
        names, units: cells of the header line and of the line of units; empty when there is none.
        known: tags of the store by path.

    Raises:
        MappingWrong: with every fault found.
    """
    header = _Header(names, units)
    faults: dict[Key, str] = {}
    time = [_found(header, c, ("time", "columns"), faults) for c in mapping.time.columns]
    long: dict[str, int] = {}
    if mapping.long is not None:
        for part, wanted in mapping.long.model_dump().items():
            long[part] = _found(header, wanted, ("long", part), faults) if wanted else -1
    columns = list(_columns(mapping, header, known, faults))
    for path in {c.tag.path for c in columns if sum(d.tag.path == c.tag.path for d in columns) > 1}:
        places = [k for k, c in enumerate(mapping.column) if c.tag == path]
        faults["column", places[-1], "tag"] = f"{path} is given to {len(places)} columns: keep one"
    if faults:
        raise mapping.wrong(faults)
    used = {*time, *long.values(), *(c.place for c in columns)}
    left_out = () if mapping.long else tuple(n for k, n in enumerate(header.names) if k not in used and n)
    return Plan(tuple(columns), tuple(time), long, left_out, max(used) + 1)


def _found(header: _Header, wanted: str | int, key: Key, faults: dict[Key, str]) -> int:
    try:
        return header.find(wanted)
    except WrongInput as error:
        faults[key] = str(error)
        return 0


def _columns(
    mapping: CsvMapping, header: _Header, known: Mapping[str, Tag], faults: dict[Key, str]
) -> Iterator[ColumnPlan]:
    for number, section in enumerate(mapping.column):
        key: Key = ("column", number)
        try:
            if mapping.long is not None:
                place, said = -1, heading_of(section.name)
            else:
                place = header.find(section.number or section.name)
                said = header.said(place)
            yield _column(section, place, said, known, by_row=bool(mapping.long and mapping.long.unit))
        except WrongInput as error:
            faults[key] = str(error)


def _column(
    section: ColumnSection, place: int, said: Heading, known: Mapping[str, Tag], *, by_row: bool
) -> ColumnPlan:
    """One column's plan.

    Raises:
        WrongInput: unit or reference are missing, contradict each other or cannot become the tag's.
    """
    unit, reference = _unit(section, said)
    if is_mesh(said.name) and not said.unit and (not unit or unit in _LENGTHS):
        raise WrongInput(f"'{said.name}': {MESH}")
    tag = _tag(section, unit, reference, known)
    words = {w.casefold(): float(k) for k, w in tag.codes.items()}
    if tag.kind is TagKind.BOOLEAN:
        words = {**_SWITCH_WORDS, **words}
    words |= {w.casefold(): v for w, v in section.words.items()}
    name = section.name or said.name or str(section.number)
    plan = ColumnPlan(
        place, name, tag, unit, reference, words=words, difference=section.difference, ambient=section.ambient
    )
    if not unit:
        if by_row:
            return plan
        if tag.kind not in (TagKind.BOOLEAN, TagKind.CODE):
            raise WrongInput(f"neither the header nor the mapping says the unit of '{section.name}': add it")
        plan = replace(plan, unit=tag.unit)
    scale, offset = plan.conversion(plan.unit, reference)
    return replace(plan, scale=scale, offset=offset)


def _unit(section: ColumnSection, said: Heading) -> tuple[str, str]:
    given, reference = unit_of(section.unit) if section.unit else ("", "")
    if given and said.unit and given != said.unit:
        raise WrongInput(f"the file says {said.unit} and the mapping {given}: one of them is wrong")
    references = {r for r in (section.reference, reference, said.reference) if r}
    if len(references) > 1:
        raise WrongInput("gauge in one place and absolute in another: one of them is wrong")
    return given or said.unit, next(iter(references), "")


def _tag(section: ColumnSection, unit: str, reference: str, known: Mapping[str, Tag]) -> Tag:
    if section.tag in known:
        return known[section.tag]
    if section.difference and unit:
        unit, reference = difference_unit(unit), ""
    tag = canonical_tag(section.tag, unit=unit or "1")
    if meaning_of(section.tag) is None:
        kind, text = section.kind or TagKind.ANALOG, section.text or section.name or section.tag
        return replace(tag, kind=kind, text=text, reference=reference)
    return tag


def _pressure(unit: str, reference: str, tag: Tag, ambient: str) -> tuple[float, float]:
    """Gauge and absolute are never mixed, and never guessed.

    Raises:
        WrongInput: what is missing or contradicts.
    """
    plain = conversion(unit, tag.unit)
    measured = meaning_of(tag.path.rpartition(".")[0] + ".pv")
    own = tag.reference or (measured.reference if measured else "")
    if not reference and (own or meaning_of(tag.path) is None):
        hint = f" ({tag.path} is kept as {own})" if own else ""
        raise WrongInput(f"the file does not say whether it is gauge or absolute: add reference{hint}")
    if reference == ABSOLUTE and not own:
        raise WrongInput(f"{tag.path} is not an absolute pressure: give it a tag of its own")
    if reference == own or not own:
        return plain
    if not ambient:
        raise WrongInput(
            f"{tag.path} is kept as {own} pressure and the file has {reference}: the two are never mixed. "
            'Give it a tag of its own, or state the pressure of the air there and then: ambient = "1013 mbar"'
        )
    return pressure_conversion(unit, reference, tag.unit, own, ambient=ambient)
