"""import and export on the command line: from a proposal to the store and out again."""

from __future__ import annotations

import json
from pathlib import Path

import pyarrow.parquet as pq
import pytest

from historian import EmbeddedStore
from historian.exchange import read_mapping
from meltledger.config import load
from tests.meltledger.test_cli import exit_code

ROOT = Path(__file__).resolve().parents[2]
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
"filter.inlet.pressure.pv" = { node = "ns=2;s=p" }
"""
DATA = "time;Melt pressure before the screen [bar(g)];Farbe\n" + "".join(
    f"2026-07-01 12:00:{s:02d};{100 + s},5;rot\n" for s in range(30)
)
START, END = "--from=2026-07-01T12:00", "--to=2026-07-01T13:00"


@pytest.fixture
def line(tmp_path: Path) -> str:
    (tmp_path / "line.toml").write_text(LINE, encoding="utf-8")
    (tmp_path / "panel.csv").write_text(DATA, encoding="utf-8")
    load(tmp_path / "line.toml")
    return str(tmp_path / "line.toml")


def test_from_a_proposal_to_the_store_and_out(
    line: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data, mapping = str(tmp_path / "panel.csv"), str(tmp_path / "panel.toml")
    assert exit_code("import", line, data, "--guess", mapping) == 0
    assert "confirm: " in capsys.readouterr().out
    assert exit_code("import", line, data, "--mapping", mapping, "--dry-run") == 0
    assert "30 new" in (said := capsys.readouterr().out) and "nothing was stored" in said
    assert not (tmp_path / "data").exists()
    assert exit_code("import", line, data, "--mapping", mapping, "--json") == 0
    assert json.loads(capsys.readouterr().out)["new"] == 30
    assert exit_code("import", line, data, "--mapping", mapping, "--dry-run") == 0
    assert "0 new" in capsys.readouterr().out
    out = tmp_path / "x.parquet"
    assert exit_code("export", line, str(out), START, END, "--tag", "filter.*") == 0
    assert "30 samples of 1 tags" in capsys.readouterr().out
    assert pq.read_table(out)["value"].to_pylist()[:2] == [100.5, 101.5]
    for name, more in (("x.xlsx", []), ("x.csv", ["--wide", "--aggregate=Average", "--every=10 s"])):
        assert exit_code("export", line, str(tmp_path / name), START, END, *more) == 0
    rows = (tmp_path / "x.csv").read_text(encoding="utf-8").splitlines()
    assert rows[1].startswith("2026-07-01T12:00:00+02:00,105,")


def test_what_does_not_fit_ends_with_1(line: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    mapping = tmp_path / "panel.toml"
    assert exit_code("import", line, str(tmp_path / "panel.csv"), "--guess", str(mapping)) == 0
    bad = tmp_path / "bad.csv"
    bad.write_text(DATA + "2026-07-01 12:01:00;12.5;rot\n", encoding="utf-8")
    capsys.readouterr()
    rejects = tmp_path / "kept.csv"
    assert exit_code("import", line, str(bad), "--mapping", str(mapping), "--rejects", str(rejects)) == 1
    assert "line 32: " in capsys.readouterr().out
    assert rejects.read_text(encoding="utf-8").splitlines()[1:] == ["2026-07-01 12:01:00;12.5;rot"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["import", "LINE", "DATA"], "either --mapping"),
        (["import", "LINE", "DATA", "--guess", "LINE"], "is there already"),
        (["import", "LINE", "no.csv", "--guess", "-"], "cannot be read"),
        (["export", "LINE", "x.csv", START, END], "no store"),
    ],
)
def test_wrong_use_is_told_and_ends_with_2(
    line: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], words: list[str], said: str
) -> None:
    known = {"LINE": line, "DATA": str(tmp_path / "panel.csv")}
    assert exit_code(*(known.get(w, w) for w in words)) == 2
    assert said in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["x.txt", START, END], "end the name in one of"),
        (["x.csv", START, END, "--tag", "pump.*"], "no tag is meant by pump"),
        (["x.csv", "--from=noon", END], "is no time"),
        (["x.csv", "--from=2026-07-01T13:00", "--to=2026-07-01T12:00"], "ends before"),
        (["x.csv", START, END, "--every=1 min"], "both or neither"),
    ],
)
def test_an_export_that_cannot_be_is_told(
    line: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], words: list[str], said: str
) -> None:
    store = EmbeddedStore.open(tmp_path / "data")
    store.register(load(Path(line)).tags)
    store.close()
    assert exit_code("export", line, str(tmp_path / words[0]), *words[1:]) == 2
    assert said in capsys.readouterr().err


def test_the_mapping_in_the_documentation_is_one() -> None:
    page = (ROOT / "docs" / "import-export.md").read_text(encoding="utf-8")
    example = page.partition("```toml\n")[2].partition("```")[0]
    assert len(read_mapping(example).column) == 2
