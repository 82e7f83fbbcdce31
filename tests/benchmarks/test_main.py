"""What ``python -m benchmarks`` prints and with which status it exits."""

from __future__ import annotations

import importlib
import json
from collections.abc import Iterable

import pytest

from benchmarks.figure import Figure

# ``benchmarks.__main__`` is imported by name: an import statement would read as the test's own main.
entry = importlib.import_module("benchmarks.__main__")
GOOD = Figure("good", 3.0, 1.0, bar=2.0)
POOR = Figure("poor", 1.0, 1.0, bar=2.0)


def finding(**areas: Iterable[Figure]) -> object:
    """A look-up that knows these areas and their figures."""
    return lambda area: (lambda _quick: areas[area]) if area in areas else None


def test_figures_go_to_standard_output_and_the_table_to_standard_error(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert entry.main(["historian"], find=finding(historian=[GOOD])) == 0
    out, err = capsys.readouterr()
    assert json.loads(out)["name"] == "good"
    assert "plain way" in err


def test_a_figure_below_its_bar_exits_1(capsys: pytest.CaptureFixture[str]) -> None:
    assert entry.main(["historian"], find=finding(historian=[GOOD, POOR])) == 1
    assert len(capsys.readouterr().out.splitlines()) == 2


def test_an_area_without_figures_exits_1(capsys: pytest.CaptureFixture[str]) -> None:
    assert entry.main(["rules"], find=finding(rules=[])) == 1
    assert "rules: gave no figure" in capsys.readouterr().err


def test_an_area_that_is_not_built_says_so_and_exits_1(capsys: pytest.CaptureFixture[str]) -> None:
    assert entry.main(["trials"], find=finding()) == 1
    out, err = capsys.readouterr()
    assert out == ""
    assert "trials: not built yet" in err


def test_all_runs_every_area_and_one_short_one_is_enough_to_exit_1(
    capsys: pytest.CaptureFixture[str],
) -> None:
    every = {area: [GOOD] for area in entry.AREAS}
    assert entry.main(["all"], find=finding(**every)) == 0
    assert len(capsys.readouterr().out.splitlines()) == len(entry.AREAS)
    assert entry.main(["all"], find=finding(**{**every, "rules": [POOR]})) == 1


def test_an_unknown_area_is_wrong_use(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stopped:
        entry.main(["kitchen"])
    assert stopped.value.code == 2
    assert "kitchen" in capsys.readouterr().err


def test_the_historian_area_is_found() -> None:
    assert entry.measure_of("historian") is not None
