"""``meltledger rules``, and what ``check`` says of settings that cannot be meant."""

from __future__ import annotations

import csv
import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import openpyxl
import pytest

from meltledger.config import load
from rules.table import RULES
from rules.table.rationalisation import COLUMNS
from tests.meltledger.test_cli import exit_code

LINE = """[line]
name = "pilot"
zone = "Europe/Madrid"
[store]
path = "data"
[[source]]
name = "plc"
kind = "opcua"
endpoint = "opc.tcp://127.0.0.1:4840"
[source.tags]
"filter.dp.calc" = { node = "ns=2;s=p" }
"""


def write(tmp_path: Path, more: str = "") -> str:
    (tmp_path / "line.toml").write_text(LINE + more, encoding="utf-8")
    return str(tmp_path / "line.toml")


def test_the_table_for_people(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    line = write(tmp_path, '[[rule]]\nkind = "cleaning-overdue"\nover = "0.45 MPa"\nlatching = true\n')
    assert exit_code("rules", line) == 0
    said = capsys.readouterr().out
    assert [t for t in said.splitlines() if t and not t.startswith(" ")] == list(RULES)
    block = said.split("cleaning-overdue\n")[1].split("\n\n")[0]
    assert "4.5 bar (line)" in block and "yes (line)" in block and "6 s (default)" in block
    for heading in list(COLUMNS.values())[1:]:
        assert heading in block


def test_as_json_csv_and_excel(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    line = write(tmp_path)
    table, book = tmp_path / "rules.csv", tmp_path / "rules.xlsx"
    assert exit_code("rules", line, "--json", "--csv", str(table), "--excel", str(book)) == 0
    made = json.loads(capsys.readouterr().out)
    assert [r["rule"] for r in made] == list(RULES)
    silent = next(r for r in made if r["rule"] == "source-silent")
    assert silent["judged"] == "yes" and silent["priority"] == {
        "value": "medium", "unit": "", "from": "default",
    }  # fmt: skip
    with table.open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))
    assert rows[0] == list(COLUMNS.values()) and len(rows) == len(RULES) + 1
    sheets = openpyxl.load_workbook(book)
    page = sheets["rules"]
    assert [[c.value for c in row] for row in page.iter_rows()] == rows
    assert page.freeze_panes == "B2"
    assert 10 < page.column_dimensions["A"].width < 30 < page.column_dimensions["C"].width
    written = sheets["about"]["C4"].value
    assert isinstance(written, datetime) and written.tzinfo is None
    assert abs(datetime.now(UTC).replace(tzinfo=None) - written) < timedelta(hours=1)


def test_csv_to_the_screen(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert exit_code("rules", write(tmp_path), "--csv", "-") == 0
    assert capsys.readouterr().out.startswith("alarm,machine,")


def test_a_table_that_cannot_be_written_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for option in ("--csv", "--excel"):
        assert exit_code("rules", write(tmp_path), option, str(tmp_path / "no" / "folder")) == 3
        assert "name another file" in capsys.readouterr().err


def test_a_limit_in_another_unit_is_converted(tmp_path: Path) -> None:
    for written in ("4.5 bar", "0.45 MPa", "450 kPa", "4500 mbar"):
        facts = load(
            Path(write(tmp_path, f'[[rule]]\nkind = "cleaning-overdue"\nover = "{written}"\n'))
        ).facts
        assert facts.setting("cleaning-overdue").numbers["over_bar"] == pytest.approx(4.5, rel=1e-12)


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ('over = "4.5 kg/h"', "'kg/h' and 'bar' do not measure the same thing"),
        ('over = "4.5 bars of melt"', "the unit 'bars of melt' is not known"),
        ("over = 4.5", 'write it as a number with its unit, as text: "0.3 bar"'),
        ('held = "700 s"', "held_s = 700 must lie between 1 and 600 s"),
        ('held = "11 min"', "held_s = 660 must lie between 1 and 600 s"),
        ('ovr = "4 bar"', "the nearest is 'over'"),
    ],
)
def test_check_names_what_is_wrong_with_its_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], keys: str, words: str
) -> None:
    line = write(tmp_path, f'[[rule]]\nkind = "cleaning-overdue"\n{keys}\n')
    assert exit_code("check", line) == 1
    said = capsys.readouterr().out
    at = said.split("line.toml:")[1].split(":")[0]
    assert int(at) in (len(LINE.splitlines()) + 1, len(LINE.splitlines()) + 3)
    assert words in said


def test_check_names_numbers_that_contradict_each_other(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    line = write(tmp_path, '[[rule]]\nkind = "heater-power"\nresidual_held = "15 min"\n')
    assert exit_code("check", line) == 1
    said = capsys.readouterr().out
    assert f"line.toml:{len(LINE.splitlines()) + 1}:" in said
    assert "residual_held_s = 900 s is longer than the 600 s within which a person's act still helps" in said
