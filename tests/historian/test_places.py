"""Where a key stands in a TOML text."""

from __future__ import annotations

import tomllib

import pytest

from historian.places import line_of

TEXT = """\
# a comment
[line]            # who
name = "a"
[a.b]
"quoted.key" = 1
[[source]]
name = "one"
[source.tags]
"x.pv" = { node = "ns=1;s=[not a header]" }
[[source]]
name = "two"
[[source.sub]]
deep = 1
[[source.sub]]
deep = 2
"""


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("line", "name"), 3),
        (("line",), 2),
        (("a", "b", "quoted.key"), 5),
        (("source", 0, "name"), 7),
        (("source", 0, "tags", "x.pv"), 9),
        (("source", 0, "tags", "x.pv", "node"), 9),
        (("source", 1, "name"), 11),
        (("source", 1, "sub", 1, "deep"), 15),
        (("source", 1, "missing"), 10),
        (("source",), 6),
        (("nowhere",), 1),
    ],
)
def test_line_of(path: tuple[str | int, ...], line: int) -> None:
    tomllib.loads(TEXT)
    assert line_of(TEXT, path) == line
