"""Reads a TOML file of a person's into its sections: every fault at once, with its line, key and remedy."""

from __future__ import annotations

import difflib
import tomllib
from pathlib import Path
from typing import Any, TypeVar, get_args, get_origin

from pydantic import BaseModel, ValidationError

from historian.errors import WrongInput
from historian.places import line_of
from meltledger.errors import Fault, LineFileWrong
from meltledger.linefile import Place, Source, SourceSection

File = TypeVar("File", bound=BaseModel)


def read_checked(path: Path, root: type[File], page: str) -> tuple[str, File]:
    """A file's text, and its sections.

    Args:
        root: what the file holds.
        page: where it is described, for a person who has none.

    Raises:
        LineFileWrong: with every fault found.
        WrongInput: the file cannot be read.
    """
    text = _text(path, page)
    return text, checked_text(path, text, root)


def checked_text(path: Path, text: str, root: type[File]) -> File:
    """The sections of a text that stands, or is to stand, in a file.

    Raises:
        LineFileWrong: with every fault found.
    """
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise LineFileWrong(path, [_syntax_fault(error)]) from error
    try:
        return root.model_validate(raw)
    except ValidationError as error:
        raise LineFileWrong(path, [_fault(text, e, root) for e in _innermost(error)]) from error


def fault_at(text: str, key: Place, said: str) -> Fault:
    """What is wrong with a key, with the line where it stands."""
    return Fault(line_of(text, key), _dotted(key), said)


def _text(path: Path, page: str) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except FileNotFoundError as error:
        raise WrongInput(f"{path}: there is no such file; see {page} for how to write one") from error
    except (OSError, UnicodeDecodeError) as error:
        raise WrongInput(f"{path}: cannot be read as UTF-8 text ({error})") from error


def _syntax_fault(error: tomllib.TOMLDecodeError) -> Fault:
    words = str(error)
    place = words.rpartition("(at line ")[2].partition(",")[0]
    return Fault(int(place) if place.isdigit() else 1, "TOML", f"{words}; mend the syntax there")


def _dotted(key: Place) -> str:
    return ".".join(
        str(part + 1) if isinstance(part, int) else f'"{part}"' if "." in part else part for part in key
    )


def _fault(text: str, error: Any, root: type[BaseModel]) -> Fault:
    """One of pydantic's errors in our words."""
    place: Place = tuple(p for p in error["loc"] if p != "[key]")
    # Below a source pydantic names its kind as well, which is no key of the file.
    key = place[:2] + place[3:] if place[0] == "source" and len(place) > 2 else place
    said = str(error["msg"]).removeprefix("Value error, ")
    if error["type"] in ("union_tag_invalid", "union_tag_not_found"):
        key = (*key, "kind")
        known = ", ".join(_kinds())
        said = f"every source says its kind; known are {known}"
    elif error["type"] == "extra_forbidden":
        near = difflib.get_close_matches(str(place[-1]), _keys_at(place[:-1], root), n=1, cutoff=0.3)
        known = ", ".join(_keys_at(place[:-1], root))
        said = (
            f"this key is not known; the nearest is '{near[0]}'" if near else f"not known; known are {known}"
        )
    elif error["type"] == "missing":
        said = "this key is missing; add it"
    elif isinstance(error.get("input"), str | int | float) and error["type"] != "value_error":
        said = f"{said}, not {error['input']!r}"
    return fault_at(text, key, said)


def _innermost(error: ValidationError) -> list[Any]:
    """The errors that are not only the consequence of one further inside."""
    found = error.errors()
    places = [e["loc"] for e in found]
    return [
        e for e in found if not any(len(p) > len(e["loc"]) and p[: len(e["loc"])] == e["loc"] for p in places)
    ]


def _kinds() -> dict[str, type[SourceSection]]:
    """The kinds of source and their sections."""
    return {get_args(m.model_fields["kind"].annotation)[0]: m for m in get_args(get_args(Source)[0])}


def _keys_at(place: Place, root: type[BaseModel]) -> list[str]:
    """The keys that the file may have at a place; below a source the place names its kind as well."""
    if place[:1] == ("source",) and len(place) > 2:
        model: Any = _kinds()[str(place[2])]
        place = place[3:]
    else:
        model = root
    is_name = False
    for part in place:
        if is_name:  # what a person called one of several, such as a customer
            is_name = False
            continue
        if isinstance(part, int) or not (isinstance(model, type) and issubclass(model, BaseModel)):
            model = model if isinstance(part, int) else _element(model)
            continue
        field = model.model_fields.get(part)
        if field is None:
            return []
        is_name = get_origin(field.annotation) is dict
        model = _element(field.annotation)
    return list(model.model_fields) if isinstance(model, type) and issubclass(model, BaseModel) else []


def _element(annotation: Any) -> Any:
    """The model inside tuple[Model, ...], dict[str, Model] or Model | None."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    inner = [_element(a) for a in get_args(annotation)]
    return next((m for m in inner if isinstance(m, type) and issubclass(m, BaseModel)), annotation)
