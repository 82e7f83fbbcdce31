"""A trial's record as one JSON file that travels with its data: all that was ever written, by whom. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from historian.errors import WrongInput
from trials.record.entries import Entry, What
from trials.record.file import Trial

FORM: Final = "meltledger trial record 1"


def to_json(trial: Trial, entries: Sequence[Entry]) -> dict[str, Any]:
    """The record of a trial, JSON types; times are UTC nanoseconds."""
    return {"form": FORM, "trial": head(trial), "entries": [e.to_json() for e in entries]}


def head(trial: Trial) -> dict[str, Any]:
    """What stands at the head of a trial's record, JSON types."""
    return {
        "name": trial.name,
        "customer": trial.customer,
        "code_name": trial.code_name,
        "start_ns": trial.start_ns,
        "end_ns": trial.end_ns,
    }


def from_json(record: Mapping[str, Any], name: str) -> tuple[Trial, list[Entry]]:
    """What ``to_json`` gave; the trial's number is 0, those of the entries are their own.

    Args:
        name: of the file, for what is told.

    Raises:
        WrongInput: it is no such record, naming what is wrong.
    """
    if record.get("form") != FORM:
        raise WrongInput(f"{name}: no trial record of this form ('{FORM}')")
    try:
        told = record["trial"]
        end_ns = told["end_ns"]
        trial = Trial(
            0,
            str(told["name"]),
            str(told["customer"]),
            str(told["code_name"]),
            int(told["start_ns"]),
            None if end_ns is None else int(end_ns),
        )
        entries = [_entry(e) for e in record["entries"]]
    except (KeyError, TypeError, ValueError) as error:
        raise WrongInput(f"{name}: the record is damaged: {type(error).__name__}: {error}") from error
    return trial, entries


def _entry(told: Mapping[str, Any]) -> Entry:
    replaces = told["replaces"]
    return Entry(
        int(told["id"]),
        0,
        What(told["what"]),
        int(told["time_ns"]),
        int(told["entered_ns"]),
        str(told["by"]),
        dict(told["data"]),
        None if replaces is None else int(replaces),
        bool(told["addendum"]),
    )
