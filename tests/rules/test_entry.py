"""What may stand in an entry."""

from __future__ import annotations

import json

import numpy as np
import pytest

from rules.entry import ActKind, plain


def test_plain_makes_json_of_what_numpy_leaves_behind() -> None:
    value = {
        "a": np.float64(1.5),
        "b": np.int64(7),
        "c": (np.nan, np.inf, True),
        "d": np.array([1, 2]),
        3: None,
    }
    made = plain(value)
    assert made == {"a": 1.5, "b": 7, "c": [None, None, True], "d": [1, 2], "3": None}
    assert json.loads(json.dumps(made, allow_nan=False)) == made
    assert type(made["b"]) is int and made["c"][2] is True


def test_plain_refuses_what_is_no_json() -> None:
    with pytest.raises(TypeError, match="object"):
        plain({"a": object()})


def test_only_notes_and_marks_are_about_no_alarm() -> None:
    assert {k for k in ActKind if not k.needs_alarm} == {ActKind.NOTE, ActKind.MARK, ActKind.REPAIRED}
