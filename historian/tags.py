"""What a tag is: a name for one signal of the line, with its unit and its kind."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from historian.errors import WrongInput

_PATH = re.compile(r"[a-z][a-z0-9_]*(\.[a-z0-9_]+)+")
_PLACE = re.compile(r"^(.*\.)(\d+)(\..+)$")


class TagKind(StrEnum):
    """How a tag's numbers are to be read."""

    ANALOG = "analog"  # a measured or set quantity: sloped between samples
    STEP = "step"  # a set-point or a counter: holds until the next sample
    BOOLEAN = "boolean"  # 0 or 1, holds
    CODE = "code"  # an enumeration, holds; its words stand in ``codes``


@dataclass(frozen=True, slots=True)
class Tag:
    """One signal of the line.

    Attributes:
        id: number within the line's store, given by the store (0 before that).
        path: canonical path, lower case, dotted, machine first: ``filter.plate.3.temp.pv``.
        unit: canonical UCUM code: ``bar``, ``Cel``, ``kg/h``, ``/min``, ``%``, ``1``.
        kind: how the numbers are to be read.
        text: what the tag means, for a person.
        reference: ``gauge`` or ``absolute`` for pressures, empty otherwise.
        codes: number → word for enumerations and booleans.
        source: name of the source that delivers it.
        simulated: whether a simulator or a playback delivers it.
    """

    path: str
    unit: str
    kind: TagKind = TagKind.ANALOG
    text: str = ""
    reference: str = ""
    codes: Mapping[int, str] = field(default_factory=dict)
    source: str = ""
    simulated: bool = False
    id: int = 0

    def __post_init__(self) -> None:
        check_path(self.path)

    @property
    def holds(self) -> bool:
        """Whether a value stands until the next sample (step-wise), not sloped towards it."""
        return self.kind is not TagKind.ANALOG

    def to_json(self) -> dict[str, Any]:
        """Everything but the number, as JSON types."""
        return {
            "path": self.path,
            "unit": self.unit,
            "kind": str(self.kind),
            "text": self.text,
            "reference": self.reference,
            "codes": {str(k): v for k, v in self.codes.items()},
            "source": self.source,
            "simulated": self.simulated,
        }

    @classmethod
    def from_json(cls, data: Mapping[str, Any], *, id: int = 0) -> Tag:
        """The tag that ``to_json`` wrote."""
        return cls(
            path=data["path"],
            unit=data["unit"],
            kind=TagKind(data["kind"]),
            text=data.get("text", ""),
            reference=data.get("reference", ""),
            codes={int(k): v for k, v in data.get("codes", {}).items()},
            source=data.get("source", ""),
            simulated=data.get("simulated", False),
            id=id,
        )


def check_path(path: str) -> str:
    """The path itself when it is canonical.

    Raises:
        WrongInput: with the reason and an example, otherwise.

    Example:
        >>> check_path("filter.plate.3.temp.pv")
        'filter.plate.3.temp.pv'
    """
    if not _PATH.fullmatch(path) or len(path) > 200:
        raise WrongInput(
            f"'{path[:80]}' is not a tag path: lower-case words and numbers joined by dots, machine first, "
            "for example filter.plate.3.temp.pv"
        )
    return path


def pattern_of(path: str) -> str:
    """The path with its place numbers replaced by ``*``: all plates share one pattern.

    Example:
        >>> pattern_of("filter.plate.3.temp.pv")
        'filter.plate.*.temp.pv'
    """
    return re.sub(r"(?<=\.)\d+(?=\.)", "*", path)


def place_of(path: str) -> int | None:
    """The place number in the path (1 at the feed end, or at the top going clockwise), if it has one.

    Example:
        >>> place_of("filter.plate.3.temp.pv"), place_of("extruder.melt.temp.pv")
        (3, None)
    """
    match = _PLACE.match(path)
    return int(match.group(2)) if match else None
