"""Mapping files: every fault at once, each with its line, its key and what to do."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from historian.errors import WrongInput
from historian.exchange import MappingWrong, load_mapping, mapping, read_mapping
from historian.exchange._toml import mapping_lines

GOOD = """[file]
separator = ";"
[time]
columns = ["t"]
format = "iso"
zone = "UTC"
[[column]]
name = "a"
tag = "lab.a.pv"
"""


def test_the_example_in_the_documentation_is_a_mapping_and_writes_back() -> None:
    example = re.search(r"```toml\n(.*?)```", mapping.__doc__ or "", re.DOTALL)
    assert example is not None
    read = read_mapping(example.group(1).replace("\\\\t", "\\t"))
    assert read.file.decimal == "," and read.time.gap_ns == 30_000_000_000
    assert read_mapping("\n".join(mapping_lines(read, {0: "said"}))).model_dump() == read.model_dump()


@pytest.mark.parametrize(
    ("change", "line", "said"),
    [
        (('separator = ";"', 'seperator = ";"'), 2, "the nearest is separator"),
        (('separator = ";"', 'separator = ","\ndecimal = ","'), 1, "are the same"),
        (('separator = ";"', 'encoding = "latin-99"'), 2, "no known encoding"),
        (('separator = ";"', "header_line = 5"), 1, "first_line must come after"),
        (('separator = ";"', 'thousands = "."'), 1, "used for something else"),
        (('separator = ";"', 'form = "long"'), 1, r"\[long\]"),
        (('format = "iso"', 'format = "%d.%m"'), 5, "no form of a stamp"),
        (('zone = "UTC"', 'zone = "Europe/Atlantis"'), 6, "no time zone"),
        (('zone = "UTC"', 'zone = "UTC"\ngap = "5 bar"'), 7, "'bar' and 's'"),
        (('zone = "UTC"', 'zone = "UTC"\ngap = "0 s"'), 7, "longer than nothing"),
        (('columns = ["t"]', "columns = [0]"), 4, "counted from 1"),
        (('tag = "lab.a.pv"', 'tag = "Lab A"'), 9, "not a tag path"),
        (('tag = "lab.a.pv"', 'tag = "lab.a.pv"\nunit = "mesh"'), 10, "mesh is text"),
        (('name = "a"\n', ""), 7, "give the column's name"),
        (('tag = "lab.a.pv"\n', ""), 7, "this key is missing"),
        (('zone = "UTC"', 'zone = "UTC"\n[qualities]\nOK = "fine"'), 7, "good, uncertain, bad"),
        (("[file]", "[file"), 1, "mend the syntax"),
    ],
)
def test_a_fault_is_told_with_its_line_and_remedy(change: tuple[str, str], line: int, said: str) -> None:
    assert change[0] in GOOD
    with pytest.raises(MappingWrong, match=said) as caught:
        read_mapping(GOOD.replace(*change))
    assert [f.line for f in caught.value.faults] == [line]


def test_all_faults_are_told_together(tmp_path: Path) -> None:
    path = tmp_path / "panel.toml"
    path.write_text(GOOD.replace('"iso"', '"x"').replace('"UTC"', '"x"').replace("lab.a.pv", "x"))
    with pytest.raises(MappingWrong) as caught:
        load_mapping(path)
    assert [f.line for f in caught.value.faults] == [5, 6, 9]
    assert str(caught.value).startswith(f"{path}:5: time.format: ")


def test_a_file_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(WrongInput, match="cannot be read"):
        load_mapping(tmp_path / "none.toml")
