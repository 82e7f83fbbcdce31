"""A file of forms is read whole or not at all, and may be handed in again when it has grown."""

from __future__ import annotations

import tomllib

import pytest

from historian.errors import WrongInput
from trials.record import Entry, What
from trials.record.filled import Filled, filled_forms, is_there

FILE = """
[material]
polymer = "PE-LD"
form = "film agglomerate"
lot = "1"

[[pre_analysis]]
what = "melt-flow-rate"
value = "1.1 g/10min"
temperature = "190 Cel"
load = "2.16 kg"

[[sample]]
at = "10:20"
name = "P1"

[[sample]]
at = 2026-11-25T10:40:00
name = "P2"
"""


def time_ns(text: str) -> int:
    """Hours and minutes, however the day is written."""
    try:
        hours, minutes = text[-8:-3].split(":") if "T" in text else text.split(":")
        return (int(hours) * 60 + int(minutes)) * 60 * 10**9
    except ValueError as error:
        raise WrongInput(f"'{text}' is no time") from error


def forms(text: str) -> list[Filled]:
    return filled_forms(tomllib.loads(text), time_ns, "trial.toml")


def test_every_form_with_when_it_was_so() -> None:
    read = forms(FILE)
    assert [(f.what, f.time_ns) for f in read] == [
        (What.MATERIAL, None),
        (What.PRE_ANALYSIS, None),
        (What.SAMPLE, time_ns("10:20")),
        (What.SAMPLE, time_ns("10:40")),
    ]
    assert read[3].data == {"name": "P2"}


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("[[samples]]\nname = 'P1'", "trial.toml: there is no form 'samples'; the nearest is sample"),
        ("[[material]]\npolymer = 'PE'", r"a trial has one material: write \[material\]"),
        ("sample = 'P1'", r"sample is a form: write \[\[sample\]\]"),
        ("[[sample]]\nname = 'P1'", "trial.toml, sample 1: say when it was so"),
        ("[[sample]]\nname = 'P1'\nat = 'noon'", "trial.toml, sample 1: at: 'noon' is no time"),
        ("[[sample]]\nname = 'P1'\nat = 12", "trial.toml, sample 1: at: "),
        (
            "[[sample]]\nname = 'P1'\nat = '9:00'\nbog = 'B1'",
            "trial.toml, sample 1: bog: there is no such key",
        ),
    ],
)
def test_what_is_wrong_is_named_with_its_place(text: str, why: str) -> None:
    with pytest.raises(WrongInput, match=why):
        forms(text)


def test_all_faults_are_told_at_once() -> None:
    with pytest.raises(WrongInput) as told:
        forms("[[sample]]\nname = 'P1'\n[[lot]]\nat = '9:00'")
    assert len(str(told.value).splitlines()) == 2


def test_what_the_record_says_already_is_known() -> None:
    form = forms(FILE)[2]
    assert form.time_ns is not None
    entry = Entry(1, 1, What.SAMPLE, form.time_ns, 99, "ada", {"name": "P1"})
    assert is_there(form, [entry])
    assert not is_there(form, [Entry(1, 1, What.SAMPLE, 5, 99, "ada", {"name": "P1"})])
    assert not is_there(form, [Entry(1, 1, What.SAMPLE, form.time_ns, 99, "ada", {"name": "P9"})])
    material = forms(FILE)[0]
    assert is_there(material, [Entry(1, 1, What.MATERIAL, 5, 99, "ada", dict(material.data))])
