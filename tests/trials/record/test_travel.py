"""A record as a file: nothing is lost on the way, and what is no record is told."""

from __future__ import annotations

import json
from typing import Any

import pytest

from historian.errors import WrongInput
from trials.record import Entry, Trial, What
from trials.record.travel import from_json, to_json

TRIAL = Trial(0, "film", "a customer", "heron", 10, 90)
ENTRIES = [
    Entry(3, 0, What.LOT, 20, 21, "ada", {"lot": "1"}),
    Entry(5, 0, What.LOT, 20, 30, "ben", {"lot": "2"}, 3),
    Entry(6, 0, What.SEALED, 95, 95, "ada", {"sha256": "0"}),
    Entry(8, 0, What.NOTE, 50, 120, "ada", {"text": "späte Asche"}, None, True),
]


def test_there_and_back() -> None:
    travelled = json.loads(json.dumps(to_json(TRIAL, ENTRIES)))
    assert from_json(travelled, "record.json") == (TRIAL, ENTRIES)
    open_trial = Trial(0, "film", "", "", 10, None)
    assert from_json(to_json(open_trial, []), "x") == (open_trial, [])


@pytest.mark.parametrize(
    ("spoil", "why"),
    [
        ({"form": "another"}, "record.json: no trial record of this form"),
        ({"trial": {}}, "record.json: the record is damaged: KeyError"),
        ({"entries": [{"id": "x"}]}, "the record is damaged"),
        ({"entries": None}, "the record is damaged"),
    ],
)
def test_what_is_no_record_is_told(spoil: dict[str, Any], why: str) -> None:
    with pytest.raises(WrongInput, match=why):
        from_json({**to_json(TRIAL, ENTRIES), **spoil}, "record.json")
