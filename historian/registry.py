"""How tags get their numbers, whatever store keeps them. Pure."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping
from dataclasses import replace

from historian.errors import UnitMismatch, UnknownTag
from historian.tags import Tag
from historian.units import conversion


def numbered(known: Mapping[str, Tag], tags: Iterable[Tag]) -> dict[str, Tag]:
    """The tags that are new or changed against the known ones, by path, with their numbers.

    A known path keeps its number; a new one gets the next that is free.

    Raises:
        UnitMismatch, UnknownUnit: a known path comes with another unit.

    Example:
        >>> old = {"water.flow.pv": Tag("water.flow.pv", "m3/h", id=7)}
        >>> {p: t.id for p, t in numbered(old, [Tag("water.level.pv", "mm"), *old.values()]).items()}
        {'water.level.pv': 8}
    """
    changed: dict[str, Tag] = {}
    last = max((t.id for t in known.values()), default=0)
    for tag in tags:
        old = changed.get(tag.path) or known.get(tag.path)
        if old is not None and old.unit != tag.unit:
            conversion(tag.unit, old.unit)
            raise UnitMismatch(
                f"tag {tag.path} is kept in {old.unit} and cannot change to {tag.unit}: "
                f"the store would mix them. Map it to {old.unit}"
            )
        if old is not None and old == replace(tag, id=old.id):
            continue
        last += old is None
        changed[tag.path] = replace(tag, id=old.id if old else last)
    return changed


def unknown(path: str, known: Iterable[str], *, where: str) -> UnknownTag:
    """The error for a path that the store does not hold, with the nearest that it does."""
    near = difflib.get_close_matches(path, list(known), n=1)
    hint = f"; the nearest known one is {near[0]}" if near else ""
    return UnknownTag(f"{where}: no tag '{path}' is kept here{hint}")
