"""What a birth says of the metrics of a node or a device, and which tags they are.

Source: Sparkplug specification 3.0, tck-id-payloads-alias-birth-requirement, -alias-uniqueness,
tck-id-payloads-metric-datatype-req.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from collector.sparkplug.metrics import NO_ALIAS, Metrics
from collector.sparkplug.types import IS_FLOAT, NUMBERS, TEXTS, DataType

_FOUND: Final = 64  # orders of aliases that are remembered
_UNKNOWN, _UNMAPPED, _REFUSED, _TEXT = -1, -2, -3, -4

UnitCheck = Callable[[int, str], str | None]


@dataclass(frozen=True, slots=True)
class Found:
    """Which tags the metrics of a message are.

    Attributes:
        which: places in the message of those that are tags, shape (n,).
        tag: places of their tags in the source's list, shape (n,).
        types: data types by the birth, shape (n,).
        unknown: metrics that no birth has named.
        refused: metrics that are tags, but cannot be kept since their birth.
        texts: place in the message → name, of those that are wanted as texts.
        plain: every metric is a tag whose type is a floating point number.
    """

    which: NDArray[np.intp]
    tag: NDArray[np.intp]
    types: NDArray[np.uint8]
    unknown: int
    refused: int
    texts: Mapping[int, str]
    plain: bool


class Table:
    """The metrics of one birth.

    Args:
        metrics: as the birth names them.
        tags: name → place of the tag in the source's list.
        texts: names that are wanted as texts.
        wrong_unit: what is wrong with the unit that a tag's metric has by its own word; None when nothing is.

    Attributes:
        tag: places of all tags that the birth names, shape (n,).
        unmapped: names that are nobody's tag.
        refused: name → why, of tags whose metric is no number, or in another unit than the line's file says.
        lacking: names of tags that the birth does not name.
    """

    def __init__(
        self, metrics: Metrics, tags: Mapping[str, int], texts: frozenset[str], wrong_unit: UnitCheck
    ) -> None:
        self._names: dict[str, int] = {}
        self._aliases: dict[int, int] = {}
        self._tag: list[int] = []
        self._types: list[int] = metrics.datatype.tolist()
        self._text: dict[int, str] = {}
        self._found: dict[bytes, Found] = {}
        self.unmapped: list[str] = []
        self.refused: dict[str, str] = {}
        aliases = metrics.alias.tolist()
        for entry in range(len(metrics)):
            name = metrics.name.get(entry, "")
            self._tag.append(self._kind(entry, name, tags, texts))
            unit = metrics.unit.get(entry)
            if self._tag[-1] >= 0 and unit is not None and (wrong := wrong_unit(self._tag[-1], unit)):
                self.refused[name] = wrong
                self._tag[-1] = _REFUSED
            if name:
                self._names[name] = entry
            if aliases[entry] != NO_ALIAS:
                self._aliases[aliases[entry]] = entry
        self.lacking = [name for name in tags if name not in self._names]
        self.tag = np.array([t for t in self._tag if t >= 0], np.intp)

    def _kind(self, entry: int, name: str, tags: Mapping[str, int], texts: frozenset[str]) -> int:
        datatype = self._types[entry]
        if name in texts and datatype in TEXTS:
            self._text[entry] = name
            return _TEXT
        if name not in tags:
            self.unmapped.append(name)
            return _UNMAPPED
        if datatype in NUMBERS or datatype == DataType.UNKNOWN:
            return tags[name]
        self.refused[name] = f"{DataType(datatype).name.lower()} is no number"
        return _REFUSED

    @property
    def meaning(self) -> object:
        """What its messages mean; tables in which this is equal read the same out of every message."""
        return self._names, self._aliases, self._types

    def find(self, metrics: Metrics) -> Found:
        """Which tags the metrics of a message are."""
        if metrics.name:
            return self._find(metrics)
        key = metrics.alias.tobytes()
        found = self._found.get(key)
        if found is None:
            if len(self._found) >= _FOUND:
                self._found.clear()
            found = self._found[key] = self._find(metrics)
        return found

    def _find(self, metrics: Metrics) -> Found:
        entries = [self._aliases.get(alias, _UNKNOWN) for alias in metrics.alias.tolist()]
        for place, name in metrics.name.items():
            entries[place] = self._names.get(name, _UNKNOWN)
        tags = [self._tag[e] if e >= 0 else _UNKNOWN for e in entries]
        which = [place for place, tag in enumerate(tags) if tag >= 0]
        types = np.array([self._types[entries[place]] for place in which], np.uint8)
        return Found(
            np.array(which, np.intp),
            np.array([tags[place] for place in which], np.intp),
            types,
            tags.count(_UNKNOWN),
            tags.count(_REFUSED),
            {place: self._text[entries[place]] for place, tag in enumerate(tags) if tag == _TEXT},
            len(which) == len(metrics) and bool(IS_FLOAT[types].all()),
        )
