"""``meltledger import --alarms``: a panel's list into the journal, with a dry run, a proposal, and only once."""

from __future__ import annotations

import json
import re
from contextlib import closing
from pathlib import Path

import pytest

from historian.event import Event
from meltledger.alarmlist import load_list_mapping
from meltledger.config import load
from rules.entry import Entry, EntryKind
from rules.journal import Journal
from tests.meltledger.test_cli import exit_code
from tests.meltledger.verbs.test_rules_verb import LINE

LIST = "Time;Number;Text;State\n" + "".join(
    f"2026-07-01 14:00:{s:02d};{s // 2};Pump {s // 2} fault;{'come' if s % 2 == 0 else 'gone'}\n"
    for s in range(20)
)


@pytest.fixture
def line(tmp_path: Path) -> str:
    (tmp_path / "line.toml").write_text(LINE, encoding="utf-8")
    (tmp_path / "list.csv").write_text(LIST, encoding="utf-8")
    return str(tmp_path / "line.toml")


def kept(tmp_path: Path) -> list[Entry]:
    with closing(Journal.open(tmp_path / "data" / "journal.db", mode="read")) as journal:
        return journal.entries(kinds=[EntryKind.MACHINE])


def test_tried_stored_and_stored_once(line: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    listed = str(tmp_path / "list.csv")
    assert exit_code("import", "--alarms", listed, line, "--dry-run") == 0
    said = capsys.readouterr().out
    assert "time = Time (iso, Europe/Madrid); number = Number, text = Text, state = State" in said
    assert "2026-07-01T14:00:00.000+02:00 to 2026-07-01T14:00:19.000+02:00" in said
    assert "20 lines tell of 20 changes: 20 would be new, 0 stored already" in said
    assert "nothing was stored" in said and not (tmp_path / "data").exists()
    assert exit_code("import", line, "--alarms", listed) == 0
    assert "20 new, 0 stored already" in capsys.readouterr().out
    first = kept(tmp_path)
    assert len(first) == 20 and {e.rule for e in first} == {"panel"}
    for more in ([], ["--dry-run"]):
        assert exit_code("import", line, "--alarms", listed, *more) == 0
        new = "would be new" if more else "new"
        assert f"0 {new}, 20 stored already" in capsys.readouterr().out
    assert kept(tmp_path) == first


def test_beside_what_a_machine_tells_live_and_never_standing(line: str, tmp_path: Path) -> None:
    live = {
        "condition": "c1",
        "severity": 700,
        "active": True,
        "acked": False,
        "retain": True,
        "message": "p",
    }
    with closing(Journal.open(tmp_path / "data" / "journal.db")) as journal:
        journal.event(Event(1, "plc", "machine-alarm", "The machine's own alarm: came.", live))
    assert exit_code("import", line, "--alarms", str(tmp_path / "list.csv")) == 0
    with closing(Journal.open(tmp_path / "data" / "journal.db", mode="read")) as journal:
        assert [e.by for e in journal.machine_alarms()] == ["plc"]
        last = journal.machine_alarms(over=True)
        assert len(last) == 11
        shared = {"condition", "severity", "active", "acked", "retain", "message"}
        assert all(shared <= e.data["data"].keys() for e in last)
        assert journal.alarms(normal=True) == [], "they are never ours"


def test_lines_that_do_not_fit_are_printed_with_file_and_line(
    line: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    listed = tmp_path / "list.csv"
    listed.write_text(LIST + "2026-07-01 14:01:00;4;Pump;perhaps\n", encoding="utf-8")
    assert exit_code("import", line, "--alarms", str(listed)) == 1
    assert f"{listed}:22: it is not known what the state 'perhaps' means" in capsys.readouterr().out
    assert len(kept(tmp_path)) == 20
    mapping = tmp_path / "list.toml"
    mapping.write_text('[states]\nperhaps = "come"\n', encoding="utf-8")
    assert exit_code("import", line, "--alarms", str(listed), "--mapping", str(mapping)) == 0
    assert "1 new, 20 stored already" in capsys.readouterr().out


def test_a_proposal_fits_the_list_that_it_was_made_for(
    line: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    listed, mapping = str(tmp_path / "list.csv"), tmp_path / "list.toml"
    assert exit_code("import", line, "--alarms", listed, "--guess", str(mapping)) == 0
    assert exit_code("import", line, "--alarms", listed, "--guess", str(mapping)) == 2
    assert "name another" in capsys.readouterr().err
    assert exit_code("import", line, "--alarms", listed, "--mapping", str(mapping), "--json") == 0
    report = json.loads(capsys.readouterr().out)
    assert (report["new"], report["refused"], report["zone"]) == (20, [], "Europe/Madrid")
    text = mapping.read_text(encoding="utf-8").replace('"Europe/Madrid"', '"UTC"')
    mapping.write_text(text, encoding="utf-8")
    assert exit_code("import", line, "--alarms", listed, "--mapping", str(mapping), "--json") == 0
    assert json.loads(capsys.readouterr().out)["new"] == 20, "other times are other changes"


@pytest.mark.parametrize(
    ("mapping", "words"),
    [
        ('zonne = "UTC"\n', "list.toml:1: zonne: this key is not known; the nearest is 'zone'"),
        ('\nzone = "Mars"\n', "list.toml:2: zone: 'Mars' is no time zone"),
        ('[states]\nx = "perhaps"\n', "list.toml:2: states.x:"),
        (
            '[columns]\ntxt = "Text"\n',
            "list.toml:2: columns.txt: this key is not known; the nearest is 'text'",
        ),
        (
            '[columns]\ntext = "Words"\n',
            "list.csv: the header has no 'Words'; it has Time, Number, Text, State",
        ),
    ],
)
def test_a_wrong_mapping_is_named_with_its_line(
    line: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], mapping: str, words: str
) -> None:
    (tmp_path / "list.toml").write_text(mapping, encoding="utf-8")
    listed = str(tmp_path / "list.csv")
    assert exit_code("import", line, "--alarms", listed, "--mapping", str(tmp_path / "list.toml")) == 2
    assert words in capsys.readouterr().err


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (["--origin", "plc"], "'plc' tells of itself already"),
        (["--origin", "Old Panel"], "write a short name"),
        (["--rejects", "x.csv"], "--rejects is for samples"),
        (["other.csv"], "give either a file of samples"),
    ],
)
def test_wrong_use_is_named(
    line: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], more: list[str], words: str
) -> None:
    assert exit_code("import", line, "--alarms", str(tmp_path / "list.csv"), *more) == 2
    assert words in capsys.readouterr().err
    assert not (tmp_path / "data").exists()


def test_neither_file_nor_list(line: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert exit_code("import", line) == 2
    assert "give the FILE" in capsys.readouterr().err


def test_a_simulated_line_takes_no_list(
    line: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    simulated = LINE.replace('kind = "opcua"\n', 'kind = "opcua"\nsimulated = true\n')
    (tmp_path / "line.toml").write_text(simulated, encoding="utf-8")
    assert exit_code("import", line, "--alarms", str(tmp_path / "list.csv")) == 2
    assert "never mixed" in capsys.readouterr().err


def test_the_mapping_and_the_rule_of_the_page_are_good_ones(tmp_path: Path) -> None:
    page = (Path(__file__).resolve().parents[3] / "docs" / "alarms.md").read_text(encoding="utf-8")
    mapping, rule = re.findall(r"```toml\n(.+?)```", page, flags=re.DOTALL)
    (tmp_path / "list.toml").write_text(mapping, encoding="utf-8")
    (tmp_path / "line.toml").write_text(LINE + rule, encoding="utf-8")
    confirmed = load_list_mapping(tmp_path / "list.toml")
    assert confirmed.zone == "UTC" and confirmed.given().columns["state"] == "Zustand"
    setting = load(tmp_path / "line.toml").facts.setting("cleaning-overdue")
    assert setting.latching is True and setting.numbers["over_bar"] == pytest.approx(4.5)
