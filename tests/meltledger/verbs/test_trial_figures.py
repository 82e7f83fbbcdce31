"""``meltledger trial figures`` and ``enough`` on a stored, judged, simulated trial."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

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
