"""Writes the tables of the pages that follow from the code: ``make tables``; a test compares them.

A page holds ``<!-- table NAME: made by make tables -->`` and ``<!-- end NAME -->``; what stands between
is made here.
"""

from __future__ import annotations

import inspect
import sys
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any, Final, Literal, get_args, get_origin

from pydantic import BaseModel, BeforeValidator
from pydantic.fields import FieldInfo

from historian.catalogue import CATALOGUE, OF_THE_RECORDER, Meaning
from meltledger.config import spoken_name
from meltledger.linefile import LineFile
from rules.backtest.matching import as_markdown as faults_as_markdown
from rules.states import table_as_markdown
from rules.table import RULES

ROOT: Final = Path(__file__).resolve().parents[1]


def line_file_keys() -> str:
    """Every key of a line's file: what it holds, whether it must be there, what it means."""
    blocks = []
    for header, about, model in _sections(LineFile, "", repeated=False):
        rows = [
            f"| `{name}` | {_holds(f)} | {_without(f)} | {f.description} |" for name, f in _own_keys(model)
        ]
        head = ["| key | holds | when left out | meaning |", "|---|---|---|---|"]
        blocks.append("\n".join([f"### `{header}`", "", about, "", *head, *rows]))
    return "\n\n".join(blocks) + "\n"


def rule_parameters() -> str:
    """What a line's file may set for each rule."""
    blocks = []
    for name, rule in RULES.items():
        rows = [
            f"| `{spoken_name(key, p.unit)}` | {_quantity(p.default, p.unit)} "
            f"| {_bounds(p.low, p.high, p.unit)} | {p.text} |"
            for key, p in rule.parameters.items()
        ]
        head = ["| key | default | bounds | meaning |", "|---|---|---|---|"]
        lead = f"{rule.cause} {rule.consequence} Priority: {rule.priority.name.lower()}."
        blocks.append("\n".join([f"### `{name}`", "", lead, "", *head, *rows]))
    return "\n\n".join(blocks) + "\n"


def catalogue_tags() -> str:
    """Every canonical tag with its unit and meaning; ``*`` is the place number."""
    return _tag_table(CATALOGUE)


def recorder_tags() -> str:
    """Every tag of the recorder's own; ``*`` is the source's name."""
    return _tag_table(OF_THE_RECORDER)


def _tag_table(meanings: Mapping[str, Meaning]) -> str:
    rows = [
        f"| `{path}` | {f'`{m.unit}` {m.reference}'.strip()} | {m.kind} | {m.text}{_codes(m.codes)} |"
        for path, m in meanings.items()
    ]
    return "\n".join(["| tag | unit | kind | meaning |", "|---|---|---|---|", *rows]) + "\n"


TABLES: Final[Mapping[str, tuple[str, Callable[[], str]]]] = {
    "alarm states": ("DEVELOPERS.md", table_as_markdown),
    "line file": ("docs/line-file.md", line_file_keys),
    "rules": ("docs/line-file.md", rule_parameters),
    "tags": ("docs/tags.md", catalogue_tags),
    "recorder tags": ("docs/health.md", recorder_tags),
    "faults": ("docs/backtest.md", faults_as_markdown),
}


def with_table(page: str, name: str, table: str) -> str:
    """The page with what stands between the table's two marks replaced.

    Raises:
        ValueError: the marks are not there, once each.
    """
    start, end = f"<!-- table {name}: made by make tables -->", f"<!-- end {name} -->"
    if page.count(start) != 1 or page.count(end) != 1:
        raise ValueError(f"the page does not hold '{start}' and '{end}' once each")
    before, _, rest = page.partition(start)
    _, _, after = rest.partition(end)
    return f"{before}{start}\n\n{table}\n{end}{after}"


def stale() -> dict[str, str]:
    """Page → what it should hold, for each page that does not."""
    pages = {page: (ROOT / page).read_text(encoding="utf-8") for page, _ in TABLES.values()}
    wanted = dict(pages)
    for name, (page, make) in TABLES.items():
        wanted[page] = with_table(wanted[page], name, make())
    return {page: text for page, text in wanted.items() if text != pages[page]}


def _sections(
    model: type[BaseModel], prefix: str, *, repeated: bool
) -> Iterator[tuple[str, str, type[BaseModel]]]:
    """Header, its one-line meaning and its keys, for the sections of the file in its own order."""
    if prefix:
        header = f"[[{prefix}]]" if repeated else f"[{prefix}]"
        kind = model.model_fields.get("kind")
        if prefix == "source" and kind is not None:
            header += f' kind = "{get_args(kind.annotation)[0]}"'
        yield header, (model.__doc__ or "").strip(), model
    for name, field in model.model_fields.items():
        for inner in _models_in(field.annotation):
            many = get_origin(field.annotation) is tuple
            path = f"{prefix}.{name}" if prefix else name
            yield from _sections(inner, f'{path}."TAG"' if _is_dict(field) else path, repeated=many)


def _own_keys(model: type[BaseModel]) -> Iterator[tuple[str, FieldInfo]]:
    for name, field in model.model_fields.items():
        if not any(_models_in(field.annotation)):
            yield name, field


def _is_dict(field: FieldInfo) -> bool:
    return get_origin(field.annotation) is dict


def _models_in(annotation: Any) -> Iterator[type[BaseModel]]:
    if inspect.isclass(annotation) and issubclass(annotation, BaseModel):
        yield annotation
    else:
        for inner in get_args(annotation):
            yield from _models_in(inner)


def _holds(field: FieldInfo) -> str:
    unit = _unit_in([*field.metadata, field.annotation])
    if unit:
        return f"text with unit, read into {unit}"
    chosen = [a for a in [field.annotation, *get_args(field.annotation)] if get_origin(a) is Literal]
    if chosen:
        return " or ".join(f'`"{word}"`' for word in get_args(chosen[0]))
    kinds = {str: "text", int: "whole number", float: "number", bool: "`true` or `false`"}
    return next(kinds[a] for a in _plain_types(field.annotation) if a in kinds)


def _plain_types(annotation: Any) -> Iterator[Any]:
    yield annotation
    for inner in get_args(annotation):
        yield from _plain_types(inner)


def _unit_in(parts: list[Any]) -> str:
    """The unit that a quantity's validator reads into; empty for what is no quantity."""
    for part in parts:
        if isinstance(part, BeforeValidator):
            unit = inspect.getclosurevars(part.func).nonlocals.get("unit")
            if isinstance(unit, str):
                return unit
        found = _unit_in([*getattr(part, "__metadata__", ()), *get_args(part)])
        if found:
            return found
    return ""


def _without(field: FieldInfo) -> str:
    if field.is_required():
        return "must be there"
    unit = _unit_in([*field.metadata, field.annotation])
    if field.default is None or field.default == ():
        return "–"
    if unit:
        return f'`"{field.default:g} {unit}"`'
    return f"`{field.default!r}`".replace("'", '"').replace("True", "true").replace("False", "false")


def _quantity(value: float, unit: str) -> str:
    return f"`{value:g}`" if unit == "1" else f'`"{value:g} {unit}"`'


def _bounds(low: float, high: float, unit: str) -> str:
    return f"{low:g} to {high:g}" + ("" if unit == "1" else f" {unit}")


def _codes(codes: Mapping[int, str]) -> str:
    return (": " + ", ".join(f"{n} {word}" for n, word in codes.items())) if codes else ""


def main() -> int:
    """Write what is stale and name it."""
    for page, text in stale().items():
        (ROOT / page).write_text(text, encoding="utf-8")
        print(page)
    return 0


if __name__ == "__main__":
    sys.exit(main())
