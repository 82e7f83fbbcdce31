"""Writes a mapping as TOML."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping

from pydantic import BaseModel

from historian.exchange.mapping import CsvMapping


def mapping_lines(mapping: CsvMapping, notes: Mapping[int, str]) -> Iterator[str]:
    """The mapping as TOML, a line at a time; ``notes`` stand as comments before the column of that place."""
    for name in ("file", "time", "long"):
        section = getattr(mapping, name)
        if section is not None:
            yield f"[{name}]"
            yield from _pairs(section)
            yield ""
    if mapping.qualities:
        yield "[qualities]"
        yield from (
            f"{json.dumps(w, ensure_ascii=False)} = {json.dumps(q)}" for w, q in mapping.qualities.items()
        )
        yield ""
    for place, column in enumerate(mapping.column):
        if place in notes:
            yield f"# {notes[place]}"
        yield "[[column]]"
        yield from _pairs(column)
        yield ""


def _pairs(section: BaseModel) -> Iterator[str]:
    for key, value in section.model_dump(mode="json", exclude_defaults=True).items():
        if isinstance(value, dict):
            inner = ", ".join(f"{json.dumps(k, ensure_ascii=False)} = {v:g}" for k, v in value.items())
            yield f"{key} = {{ {inner} }}"
        else:
            yield f"{key} = {json.dumps(value, ensure_ascii=False)}"
