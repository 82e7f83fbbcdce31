"""The mapping of a panel's alarm list: what a person has confirmed of where its parts stand, as TOML."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from historian.exchange.mapping import check_zone
from historian.written import Section
from meltledger.checked_toml import read_checked
from meltledger.linefile.words import checked
from rules.imported import AlarmListForm, Given
from rules.imported.vocabulary import NAMED

Column = Annotated[str | int, Field(description="Heading of the column, or its number from 1; 0 for none.")]


class Columns(Section):
    """Which column is what; what is left out is guessed."""

    number: Column | None = None
    text: Column | None = None
    state: Column | None = None
    class_: Column | None = Field(None, alias="class")
    severity: Column | None = None
    area: Column | None = None
    by: Column | None = None
    gone: Column | None = None
    acked: Column | None = None


class AlarmListMapping(Section):
    """What is confirmed of a list; every key may be left out."""

    encoding: str | None = None
    separator: Annotated[str, Field(min_length=1, max_length=1)] | None = None
    first_line: int | None = Field(None, ge=1)
    time: tuple[str | int, ...] | None = None
    format: str | None = None
    zone: Annotated[str, checked(check_zone)] | None = None
    columns: Columns = Field(default_factory=Columns)
    states: dict[str, Literal["come", "gone", "ack", "come+ack", "gone+ack"]] = Field(default_factory=dict)

    def given(self) -> Given:
        """The same for the reader of lists."""
        columns = self.columns.model_dump(by_alias=True, exclude_none=True)
        return Given(self.encoding, self.first_line, self.time, self.format, columns, self.states)


def load_list_mapping(path: Path | None) -> AlarmListMapping:
    """The mapping in a file; one that says nothing without a file.

    Raises:
        LineFileWrong: with every fault found.
        WrongInput: the file cannot be read.
    """
    if path is None:
        return AlarmListMapping()
    return read_checked(path, AlarmListMapping, "docs/alarms.md")[1]


def mapping_text(form: AlarmListForm, zone: str, name: str) -> str:
    """What was found of a list as a mapping, with what to confirm in comments.

    Args:
        zone: that is taken for the panel's clock.
        name: of the list's file.
    """
    return "\n".join(_lines(form, zone, name)) + "\n"


def _lines(form: AlarmListForm, zone: str, name: str) -> Iterator[str]:
    yield f"# Proposed for {name}. Confirm each remark, then try it with --dry-run."
    yield from (f"# {doubt}" for doubt in form.doubts)
    yield f"encoding = {_text(form.encoding)}"
    yield f"separator = {_text(form.separator)}"
    yield f"first_line = {form.first_line}"
    yield f"time = {_text([form.heading(k) for k in form.time])}"
    yield f"format = {_text(form.format)}"
    yield f"zone = {_text(zone)}  # of the panel's clock; UTC for one that is never put forward"
    yield ""
    yield "[columns]"
    yield from (f"{part} = {_text(form.heading(place))}" for part, place in form.places.items())
    yield ""
    yield "[states]  # further words of the column of states: come, gone, ack, come+ack or gone+ack"
    for word, said in form.states.items():
        yield f"{_text(word)} = {_text(next(n for n, s in NAMED.items() if s == said))}"


def _text(value: object) -> str:
    return json.dumps(value, ensure_ascii=False)
