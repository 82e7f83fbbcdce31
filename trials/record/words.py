"""An entry of a trial's record in one line, for lists that people read. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from trials.record.entries import Entry


def sentence_of(entry: Entry) -> str:
    """What an entry says: the name of its form, and its keys as they were written.

    Example:
        >>> from trials.record.entries import What
        >>> sentence_of(Entry(1, 1, What.LOT, 0, 0, "ada", {"lot": "2", "bale": "7"}))
        'lot: lot 2, bale 7'
    """
    return f"{entry.what}: {_listed(entry.data)}"


def _listed(data: Mapping[str, Any]) -> str:
    return ", ".join(f"{key} {_said(value)}" for key, value in data.items())


def _said(value: Any) -> str:
    if isinstance(value, Mapping):
        return f"({_listed(value)})"
    if isinstance(value, list):
        return "; ".join(_said(v) for v in value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value)
