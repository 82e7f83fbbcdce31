"""doctor, backup and restore on the command line: what they say and how they end."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.historian.care.lines import Folder, expected, flip
from tests.meltledger.test_cli import exit_code


@pytest.fixture
def line(tmp_path: Path) -> Folder:
    return Folder(tmp_path / "store")


def test_the_doctor_is_content_with_a_sound_store(line: Folder, capsys: pytest.CaptureFixture[str]) -> None:
    assert exit_code("doctor", str(line.folder)) == 0
    assert "every check sum matches; 0 notes" in capsys.readouterr().out


def test_the_doctor_finds_mends_and_is_content_after(
    line: Folder, capsys: pytest.CaptureFixture[str]
) -> None:
    flip(line.path(0, "wide"))
    assert exit_code("doctor", str(line.folder)) == 1
    said = capsys.readouterr().out
    assert "damaged: archive/line=line-1/" in said and "1 thing wrong" in said and "--repair" in said
    assert exit_code("doctor", str(line.folder), "--json") == 1
    (finding,) = json.loads(capsys.readouterr().out)["findings"]
    assert finding["trouble"] == "damaged" and not finding["note"]
    assert exit_code("doctor", str(line.folder), "--repair") == 1
    assert "done: archive/manifest.json: written anew" in capsys.readouterr().out
    assert exit_code("doctor", str(line.folder)) == 0


def test_a_note_alone_is_no_fault(line: Folder, capsys: pytest.CaptureFixture[str]) -> None:
    line.compact()
    assert exit_code("doctor", str(line.folder)) == 0
    assert "note: rollups/manifest.json: one-minute rollups" in capsys.readouterr().out


def test_a_backup_goes_out_and_comes_back(
    line: Folder, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    copy, again = str(tmp_path / "copy.tar"), tmp_path / "again"
    assert exit_code("backup", str(line.folder), copy) == 0
    assert "every check sum matches" in capsys.readouterr().out
    assert exit_code("restore", copy, str(again)) == 0
    assert "files restored" in capsys.readouterr().out
    line.folder = again
    assert line.samples() == expected(180)
    assert exit_code("restore", copy, str(again)) == 2
    assert "holds something already" in capsys.readouterr().err


def test_a_backup_that_was_cut_short_is_refused(
    line: Folder, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    copy = tmp_path / "copy.tar"
    exit_code("backup", str(line.folder), str(copy))
    copy.write_bytes(copy.read_bytes()[:5000])
    assert exit_code("restore", str(copy), str(tmp_path / "again")) == 2
    assert "copy.tar" in capsys.readouterr().err
    assert not (tmp_path / "again").exists()


@pytest.mark.parametrize("verb", ["doctor", "backup", "restore"])
def test_a_place_without_a_store_is_wrong_use(verb: str, tmp_path: Path) -> None:
    arguments = [str(tmp_path / "none")] + ([str(tmp_path / "x")] if verb != "doctor" else [])
    assert exit_code(verb, *arguments) == 2
