"""``meltledger trial figures`` and ``enough`` on a stored, judged, simulated trial."""

from __future__ import annotations

import io
import json
import zipfile
from pathlib import Path

import pytest
from openpyxl import load_workbook  # type: ignore[import-untyped]

from meltledger.config import LineConfig
from tests.meltledger.test_cli import exit_code
from tests.support.whole_trial import NAME, whole_trial


@pytest.fixture(scope="module")
def line(tmp_path_factory: pytest.TempPathFactory) -> LineConfig:
    return whole_trial(tmp_path_factory.mktemp("trial"), until_s=9_600, faults=False)


def test_each_figure_has_a_value_with_a_unit_or_a_reason(
    line: LineConfig, capsys: pytest.CaptureFixture[str]
) -> None:
    assert exit_code("trial", "figures", str(line.path), "--trial", NAME) == 0
    said = capsys.readouterr().out
    assert "P1: " in said and "screen first" in said
    assert "indicative: " in said  # it is short
    assert exit_code("trial", "figures", str(line.path), "--trial", NAME, "--json") == 0
    told = json.loads(capsys.readouterr().out)
    figures = {f["name"]: f for f in told["points"][0]["figures"]}
    assert figures["throughput, doser"]["value"] == pytest.approx(780, rel=0.02)
    assert figures["throughput, product scale"]["value"] == pytest.approx(755, rel=0.03)
    assert figures["pressure before the screen, mean"]["expanded_uncertainty"] > 0
    assert all((f["value"] is None) == bool(f["absent"]) for f in figures.values())


def test_enough_says_what_is_missing_and_ends_with_1(
    line: LineConfig, capsys: pytest.CaptureFixture[str]
) -> None:
    assert exit_code("trial", "enough", str(line.path), "--trial", NAME) == 1
    said = capsys.readouterr().out
    assert "Not enough yet (operating point P1)" in said
    assert "steady time: " in said and "missing: run on without changing anything" in said
    assert exit_code("trial", "enough", str(line.path), "--trial", NAME, "--json") == 1
    told = json.loads(capsys.readouterr().out)
    assert told["enough"] is False and told["minutes"] > 0
    assert len(told["figures"]) >= 8


def test_of_no_trial_the_nearest_is_named(line: LineConfig, capsys: pytest.CaptureFixture[str]) -> None:
    assert exit_code("trial", "figures", str(line.path), "--trial", "Film 111") == 2
    assert NAME in capsys.readouterr().err


def test_a_trial_before_anything_ran_says_why_nothing_has_a_value(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    line = whole_trial(tmp_path, until_s=600, faults=False, judged=False)
    assert exit_code("trial", "figures", str(line.path), "--trial", NAME) == 0
    said = capsys.readouterr().out
    assert said.startswith("Nothing ran steadily: no figure has a value.")
    assert exit_code("trial", "enough", str(line.path), "--trial", NAME) == 1
    said = capsys.readouterr().out
    assert "how long it takes cannot be told" in said and "± " not in said


def test_a_phase_that_somebody_sets_stays_and_ends_the_operating_point(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    line = whole_trial(tmp_path, until_s=9_300, faults=False, judged=False, closed=False)
    where = (str(line.path), "--trial", NAME)
    assert exit_code("trial", "phases", *where) == 0
    before = capsys.readouterr().out
    assert "steady: ten minutes within the limits of steady running (" in before
    cut = ("--from", "2025-10-09T11:12", "--to", "2025-10-09T11:20", "--why", "the bale was torn open")
    assert exit_code("trial", "set-phase", str(line.path), "running", *cut, "--by", "ada") == 0
    assert exit_code("trial", "phases", *where) == 0
    said = capsys.readouterr().out
    assert "running: the bale was torn open (set by hand)" in said
    assert exit_code("trial", "figures", *where, "--json") == 0
    windows = json.loads(capsys.readouterr().out)["points"][0]["windows"]
    start_ns, end_ns = 1_760_001_120_000_000_000, 1_760_001_600_000_000_000
    assert all(b <= start_ns or a >= end_ns for a, b in windows)
    assert (
        exit_code("trial", "set-phase", str(line.path), "running", *cut[:2], "--to", "2025-10-10", *cut[4:])
        == 2
    )
    assert "the trial goes from 2025-10-09 09:00:00" in capsys.readouterr().err


def test_settings_are_listed_with_the_reasons_that_were_written(
    line: LineConfig, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    why = tmp_path / "why.toml"
    why.write_text(
        '[[setting]]\nat = "2025-10-09T10:44:30"\nwhat = "doser.rate.sp"\nwhy = "up to the plan"\n'
        '[[setting]]\nat = "2025-10-09T11:00"\nwhat = "vent valve"\nafter = "open"\nwhy = "steam"\n',
        encoding="utf-8",
    )
    assert exit_code("trial", "fill", str(line.path), str(why), "--trial", NAME, "--by", "ada") == 0
    assert exit_code("trial", "settings", str(line.path), "--trial", NAME) == 0
    said = capsys.readouterr().out
    assert "doser.rate.sp 400 kg/h to 780 kg/h: up to the plan (ada)" in said
    assert "vent valve  to open (by hand, no tag): steam (ada)" in said


def test_the_package_holds_the_figures_as_a_table(line: LineConfig, tmp_path: Path) -> None:
    assert exit_code("trial", "package", str(line.path), NAME, "--to", str(tmp_path)) == 0
    (packed,) = tmp_path.glob("*.zip")
    with zipfile.ZipFile(packed) as whole:
        name = next(n for n in whole.namelist() if n.endswith("record.xlsx"))
        book = load_workbook(io.BytesIO(whole.read(name)), read_only=True)
    rows = {row[1]: row for row in book["figures"].iter_rows(min_row=2, values_only=True) if row[0] == "P1"}
    assert rows["throughput, doser"][2] == pytest.approx(780, rel=0.02)
    assert rows["throughput, doser"][4] > 0
    assert all((row[2] is None) == bool(row[5]) for row in rows.values())
