"""What could not be read is counted, shown once, and told once a minute."""

from __future__ import annotations

import pytest

from collector.complaints import Complaints, printable
from historian.frame import NS

T = 1_800_000_000 * NS


def test_the_first_is_told_at_once_and_the_rest_once_a_minute() -> None:
    complaints = Complaints("plc", {"text": "texts", "time": "times"})
    assert complaints.due(T) is None
    complaints.add("text", "a/b", "open")
    told = complaints.due(T)
    assert told is not None and told.kind == "input-rejected" and told.data == {"counts": {"text": 1}}
    assert "1 × texts (such as a/b: open)" in told.text
    complaints.add("text", "a/b", "shut", 3)
    complaints.add("time", "a/c", b"\xff")
    assert complaints.due(T + 59 * NS) is None
    told = complaints.due(T + 60 * NS)
    assert told is not None and told.data == {"counts": {"text": 3, "time": 1}}
    assert "shut" in told.text and "open" not in told.text
    assert complaints.total == 5 and complaints.due(T + 999 * NS) is None


def nested(levels: int) -> list[object]:
    inner: list[object] = []
    for _ in range(levels):
        inner = [inner]
    return inner


@pytest.mark.parametrize(
    ("what", "text"),
    [
        (b"\x1b[31m\xff", "\\x1b[31m\\xff"),
        ("a\nb", "a\\nb"),
        ("x" * 500, "x" * 120 + "…"),
        ({"a": None}, "{'a': None}"),
        (nested(100_000), "a list, nested too deeply to be shown"),
    ],
)
def test_anything_can_be_shown(what: object, text: str) -> None:
    assert printable(what) == text
