"""The user's table of machines: both kinds of file, and each bad row with its line and what to do."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from historian.errors import WrongInput
from trials.scale_up import Size, read_sizes, sizes_of_text

TOML = """# sizes as we know them
[[size]]
name = "the large one"
area = "0.28 m2"

[[size]]
name = "the small one"
area = "1178 cm2"
"""


def test_a_toml_table_the_smallest_first():
    small, large = sizes_of_text(TOML, "sizes.toml")
    assert small == Size("the small one", 1178.0)
    assert large.name == "the large one" and large.area_cm2 == pytest.approx(2800)


@pytest.mark.parametrize(
    "text", ["name,area\na,900 cm2\nb,800 cm2\n", "Area ; Name\n900 cm²;a\n\n800 cm2;b\r\n"]
)
def test_a_csv_table_with_either_separator(text: str):
    assert [(s.name, s.area_cm2) for s in sizes_of_text(text, "sizes.csv")] == [("b", 800.0), ("a", 900.0)]


def test_a_file_with_a_byte_order_mark(tmp_path: Path):
    file = tmp_path / "sizes.csv"
    file.write_text("\ufeffname;area\na;900 cm2\n", encoding="utf-8")
    assert read_sizes(file) == (Size("a", 900.0),)


def test_each_bad_row_is_told_at_once():
    text = "name;area\nA;900 cm2\n;800 cm2\nB;\nC;12 bar\nD;-5 cm2\nE;900\nA;901 cm2\nF;nan cm2\n"
    with pytest.raises(WrongInput) as caught:
        sizes_of_text(text, "sizes.csv")
    lines = str(caught.value).splitlines()
    assert [line.split(":")[1] for line in lines] == ["3", "4", "5", "6", "7", "8", "9"]
    for line, remedy in zip(
        lines,
        ("give it one", "with its unit", "cm2", "mend the number", "cm2", "another name", "mend the number"),
        strict=True,
    ):
        assert line.startswith("sizes.csv:") and remedy in line


@pytest.mark.parametrize(
    ("text", "where", "said"),
    [
        ('[[size]]\nname = "a"\narea = 900\n', "s.toml", "s.toml:1: 'a' has no area; write it with its unit"),
        ('[[size]]\nname = "a"\nwidth = "1 m"\n', "s.toml", "s.toml:3: there is no key 'width'"),
        ('[size]\nname = "a"\n', "s.toml", "two brackets"),
        ('x = 1\n[[size]]\nname = "a"\n', "s.toml", "s.toml:1: there is no key 'x'"),
        ("size = [1]\n", "s.toml", "write [[size]]"),
        ("[[size]\n", "s.toml", "mend the syntax"),
        ("", "s.toml", "no machine in it"),
        ("", "s.csv", "no machine in it"),
        ("name;area\n", "s.csv", "no machine in it"),
        ("a;900 cm2\n", "s.csv", "s.csv:1: the first line names the columns"),
        ("name,area\na,1,5 m2\n", "s.csv", "s.csv:2:"),
        ('name;area\n"a;900 cm2\n', "s.csv", "s.csv:2:"),
    ],
)
def test_a_file_that_is_none_says_what_to_do(text: str, where: str, said: str):
    with pytest.raises(WrongInput) as caught:
        sizes_of_text(text, where)
    assert said in str(caught.value)


def test_a_file_that_is_not_there_or_no_text(tmp_path: Path):
    with pytest.raises(WrongInput, match="no such file"):
        read_sizes(tmp_path / "none.toml")
    (tmp_path / "odd.csv").write_bytes(b"name;area\n\xff\xfe;1 cm2\n")
    with pytest.raises(WrongInput, match="UTF-8"):
        read_sizes(tmp_path / "odd.csv")


@given(st.text(max_size=200), st.sampled_from(["s.toml", "s.csv"]))
def test_any_text_is_a_table_or_a_fault(text: str, where: str):
    try:
        sizes = sizes_of_text(text, where)
    except WrongInput as error:
        assert where in str(error)
    else:
        assert sizes and all(s.area_cm2 > 0 for s in sizes)
