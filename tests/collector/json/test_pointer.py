"""Checked with the document of RFC 6901, section 5."""

from __future__ import annotations

import pytest

from collector.json.pointer import MISSING, pointer
from historian.errors import WrongInput

# Source: RFC 6901, 5 (JSON String Representation).
DOCUMENT = {
    "foo": ["bar", "baz"],
    "": 0,
    "a/b": 1,
    "c%d": 2,
    "e^f": 3,
    "g|h": 4,
    "i\\j": 5,
    'k"l': 6,
    " ": 7,
    "m~n": 8,
}


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("", DOCUMENT),
        ("/foo", ["bar", "baz"]),
        ("/foo/0", "bar"),
        ("/", 0),
        ("/a~1b", 1),
        ("/c%d", 2),
        ("/e^f", 3),
        ("/g|h", 4),
        ("/i\\j", 5),
        ('/k"l', 6),
        ("/ ", 7),
        ("/m~0n", 8),
    ],
)
def test_the_standards_own_examples(text: str, value: object) -> None:
    assert pointer(text)(DOCUMENT) == value


@pytest.mark.parametrize("text", ["/foo/2", "/foo/-", "/foo/01", "/foo/0/x", "/nothing", "/foo/١"])
def test_what_is_not_there_is_missing(text: str) -> None:
    assert pointer(text)(DOCUMENT) is MISSING


@pytest.mark.parametrize("text", ["foo", "/a~2", "/a~"])
def test_what_is_no_pointer_is_refused(text: str) -> None:
    with pytest.raises(WrongInput):
        pointer(text)
