"""Paper out, and what is scanned, weighed and packed back in; which bags a torn screen makes suspect."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from meltledger.recordedline import recorded_line
from tests.meltledger.test_cli import exit_code
from tests.meltledger.test_config import GOOD
from trials.paper.code import Code, Kind
from trials.record import What, book_of


@pytest.fixture
def line(tmp_path: Path) -> str:
    file = tmp_path / "line.toml"
    file.write_text(GOOD, encoding="utf-8")
    assert exit_code("trial", "new", str(file), "day 1", "--code-name", "heron") == 0
    return str(file)


@pytest.fixture
def said(capsys: pytest.CaptureFixture[str]) -> Any:
    return capsys.readouterr


def test_run_sheet_and_labels_are_written_under_the_code_name(line: str, tmp_path: Path, said: Any) -> None:
    assert (
        exit_code("trial", "paper", line, "--to", str(tmp_path / "p"), "--samples", "3", "--bags", "2") == 0
    )
    assert sorted(f.name for f in (tmp_path / "p").iterdir()) == [
        "heron-1-labels.html",
        "heron-1-run-sheet.html",
    ]
    labels = (tmp_path / "p" / "heron-1-labels.html").read_text(encoding="utf-8")
    assert all(Code(1, Kind.SAMPLE, n).shown in labels for n in (1, 2, 3))
    assert Code(1, Kind.SAMPLE, 4).shown not in labels and Code(1, Kind.BAG, 2).shown in labels


def test_what_is_scanned_goes_under_the_name_on_the_label(line: str, said: Any) -> None:
    sample, bag = Code(1, Kind.SAMPLE, 7).text, Code(1, Kind.BAG, 2).text
    assert exit_code("trial", "bag", line, bag, "--net", "824 kg", "--by", "ada") == 0
    assert exit_code("trial", "sample", line, sample, "--bag", bag, "--by", "ada") == 0
    told = ("trial", "lab", line, sample, "moisture", "< 0.05 %", "--method", "ISO 15512", "--by", "ada")
    assert exit_code(*told) == 0
    assert "bag: name B2, net 824 kg" in said().out
    with recorded_line(Path(line)) as opened:
        book = book_of(opened.record.entries(1))
    assert book.only(What.SAMPLE)["name"] == book.only(What.RESULT)["sample"] == "S7"
    assert book.only(What.SAMPLE)["bag"] == "B2"


def test_a_label_of_another_trial_or_a_wrong_character_is_refused(line: str, said: Any) -> None:
    assert exit_code("trial", "bag", line, Code(2, Kind.BAG, 2).text) == 2
    assert "label of another trial" in said().err
    right = Code(1, Kind.BAG, 2).text
    assert exit_code("trial", "bag", line, right.replace("B2", "B3")) == 2
    assert "scan or read the label again" in said().err


def test_a_late_weighing_keeps_both_times_and_a_bucket_cannot_weigh_less_than_nothing(
    line: str, said: Any
) -> None:
    told = ("trial", "weigh", line, "14.2 kg", "1.1 kg", "--bucket", "K2", "--by", "ada")
    assert exit_code(*told, "--at", "2026-01-02T10:30") == 0
    with recorded_line(Path(line)) as opened:
        (entry,) = opened.record.entries(1)
    assert entry.time_ns < entry.entered_ns
    assert dict(entry.data) == {"gross": "14.2 kg", "tare": "1.1 kg", "bucket": "K2"}
    assert exit_code("trial", "weigh", line, "1 kg", "1.1 kg") == 2
    assert "less than the tare" in said().err


def test_which_bags_are_suspect_after_a_torn_screen_is_a_list(line: str, said: Any) -> None:
    asked = ("trial", "suspect", line, "--lag", "2 min", "10 min", "--why", "torn screen")
    window = ("--from", "2026-01-02T09:00", "--to", "2026-01-02T09:20")
    assert exit_code(*asked, *window) == 0
    assert "no bags are written down" in said().out
    for name, at in (("B1", "08:30"), ("B2", "09:25"), ("B3", "09:50"), ("B4", "10:30")):
        told = ("trial", "bag", line, name, "--at", f"2026-01-02T{at}", "--by", "ada")
        assert exit_code(*told, *(("--net", "800 kg") if name == "B2" else ())) == 0
    said()
    assert exit_code(*asked, *window) == 1
    out = said().out.splitlines()
    # 09:02 to 09:30 went into bags: 23 of the 55 minutes of B2, 5 of the 25 of B3.
    assert [one.partition(":")[0] for one in out] == ["B2", "B3"]
    assert "800 kg, good, 42% of its filling" in out[0] and "not weighed" in out[1] and "20%" in out[1]
    assert exit_code(*asked, "--from", "2026-01-02T10:25", "--to", "2026-01-02T10:40") == 1
    assert "after the last bag that is written down is not known" in said().out
    assert exit_code(*asked, "--from", "2026-01-02T10:25", "--to", "2026-01-02T10:00") == 2


def test_a_screen_is_written_down_and_its_mesh_never_converted(line: str, said: Any) -> None:
    assert exit_code("trial", "screen", line, "S-17", "110 um", "--mesh", "150 x 150", "--by", "ada") == 0
    with recorded_line(Path(line)) as opened:
        assert book_of(opened.record.entries(1)).only(What.SCREEN)["mesh"] == "150 x 150"
