"""Reads mapping files: every fault at once, each with its line, its key and what to do."""

from __future__ import annotations

import difflib
import tomllib
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError

from historian.errors import WrongInput
from historian.exchange.errors import MappingFault, MappingWrong
from historian.exchange.mapping import (
    ColumnSection,
    CsvMapping,
    FileSection,
    LongSection,
    TimeSection,
    dotted,
)
from historian.places import line_of


def load_mapping(path: Path) -> CsvMapping:
    """The mapping in a file.

    Raises:
        MappingWrong: with every fault found.
        WrongInput: the file cannot be read.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise WrongInput(
            f"{path}: cannot be read as UTF-8 text ({error}); `--guess` proposes a mapping"
        ) from error
    return read_mapping(text, where=str(path))


def read_mapping(text: str, *, where: str = "mapping") -> CsvMapping:
    """The mapping in a text; raises as ``load_mapping``."""
    try:
        mapping = CsvMapping.model_validate(tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        place = str(error).rpartition("(at line ")[2].partition(",")[0]
        line = int(place) if place.isdigit() else 1
        raise MappingWrong(where, [MappingFault(line, "TOML", f"{error}; mend the syntax there")]) from error
    except ValidationError as error:
        raise MappingWrong(where, [_fault(text, e) for e in _innermost(error)]) from error
    return mapping.standing_in(where, text)


def _innermost(error: ValidationError) -> list[Any]:
    """The errors that are not only the consequence of one further inside."""
    found = error.errors()
    places = [e["loc"] for e in found]
    return [
        e for e in found if not any(len(p) > len(e["loc"]) and p[: len(e["loc"])] == e["loc"] for p in places)
    ]


def _fault(text: str, error: Any) -> MappingFault:
    key = tuple(p for p in error["loc"] if p not in ("str", "int"))
    said = str(error["msg"]).removeprefix("Value error, ")
    if error["type"] == "extra_forbidden":
        known = _keys_at(key[:-1])
        near = difflib.get_close_matches(str(key[-1]), known, n=1, cutoff=0.3)
        said = f"this key is not known; {f'the nearest is {near[0]}' if near else f'known are {known}'}"
    elif error["type"] == "missing":
        said = "this key is missing; add it"
    return MappingFault(line_of(text, key), dotted(key), said)


def _keys_at(key: tuple[str | int, ...]) -> list[str]:
    models: dict[str, type[BaseModel]] = {
        "file": FileSection,
        "time": TimeSection,
        "long": LongSection,
        "column": ColumnSection,
    }
    model = models.get(str(key[0]), CsvMapping) if key else CsvMapping
    return list(model.model_fields)
