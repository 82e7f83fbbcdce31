from __future__ import annotations

from simulator.toml_lines import line_of, lines_of

TEXT = """\
# a comment
[scenario]
seed = 1

[[step]]
at = "0 s"
[[step]]
"quoted.key" = 2
"""


def test_every_key_and_table_has_its_line() -> None:
    lines = lines_of(TEXT)
    assert lines[("scenario",)] == 2
    assert lines[("scenario", "seed")] == 3
    assert lines[("step", 0, "at")] == 6
    assert lines[("step", 1)] == 7
    assert lines[("step", 1, "quoted.key")] == 8


def test_what_is_not_there_has_the_line_of_what_is_around_it() -> None:
    lines = lines_of(TEXT)
    assert line_of(lines, ("scenario", "title")) == 2
    assert line_of(lines, ("step", 1, "at")) == 7
    assert line_of(lines, ("nowhere",)) is None
