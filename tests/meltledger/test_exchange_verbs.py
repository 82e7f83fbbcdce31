"""import and export on the command line: from a proposal to the store and out again."""

from __future__ import annotations

import json
from pathlib import Path

import pyarrow.parquet as pq
import pytest

from historian import NS, EmbeddedStore, Tag
from historian.exchange import read_mapping
from meltledger.config import load
from meltledger.parts import only_writer
from tests.meltledger.test_cli import exit_code
from trials.record import TrialRecord

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
    assert "30 would be new" in (said := capsys.readouterr().out) and "nothing was stored" in said
    assert not (tmp_path / "data").exists()
    assert exit_code("import", line, data, "--mapping", mapping, "--json") == 0
    assert json.loads(capsys.readouterr().out)["new"] == 30
    assert exit_code("import", line, data, "--mapping", mapping, "--dry-run") == 0
    assert "30 samples, all stored already: nothing to change" in capsys.readouterr().out
    out = tmp_path / "x.parquet"
    assert exit_code("export", line, str(out), START, END, "--tag", "filter.*") == 0
    assert (
        "30 samples (raw) of 1 tag, 2026-07-01 12:00:00+02:00 to 2026-07-01 13:00:00+02:00"
        in capsys.readouterr().out
    )
    assert pq.read_table(out)["value"].to_pylist()[:2] == [100.5, 101.5]
    for name, more in (("x.xlsx", []), ("x.csv", ["--wide", "--aggregate=Average", "--every=10 s"])):
        assert exit_code("export", line, str(tmp_path / name), START, END, *more) == 0
    rows = (tmp_path / "x.csv").read_text(encoding="utf-8").splitlines()
    assert rows[1].startswith("2026-07-01T12:00:00+02:00,105,")


def test_what_came_in_is_sealed_and_the_same_file_again_changes_nothing(
    line: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data, mapping = tmp_path / "panel.csv", str(tmp_path / "panel.toml")
    assert exit_code("import", line, str(data), "--guess", mapping) == 0
    assert exit_code("import", line, str(data), "--mapping", mapping) == 0
    files = folder_of(tmp_path / "data" / "archive")
    assert any("day=2026-07-01" in name for name in files)
    capsys.readouterr()
    assert exit_code("import", line, str(data), "--mapping", mapping) == 0
    assert "all stored already: nothing to change" in capsys.readouterr().out
    assert folder_of(tmp_path / "data" / "archive") == files
    data.write_text(DATA.replace(";103,5;", ";99,9;"), encoding="utf-8")
    assert exit_code("import", line, str(data), "--mapping", mapping) == 0
    assert "30 rows hold 30 samples: 0 new, 1 put in place of a stored value, 29 stored already" in (
        capsys.readouterr().out
    )
    path = "filter.inlet.pressure.pv"
    store = EmbeddedStore.open(tmp_path / "data", mode="read")
    try:
        start, end = store.span() or (0, 0)
        assert store.read([path], start, end + 1)[path].value[3] == 99.9
        assert [m.value for m in store.modified(path, start, end + 1)] == [103.5]
    finally:
        store.close()


def folder_of(folder: Path) -> dict[str, bytes]:
    """Every file below a folder with what is in it."""
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def test_a_line_that_is_being_recorded_is_left_alone(
    line: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data, mapping = str(tmp_path / "panel.csv"), str(tmp_path / "panel.toml")
    assert exit_code("import", line, data, "--guess", mapping) == 0
    with only_writer(tmp_path / "data"):
        assert exit_code("import", line, data, "--mapping", mapping) == 2
        assert "another `meltledger run` writes here; stop it first" in capsys.readouterr().err
        assert not (tmp_path / "data" / "recent.db").exists()
        # Looking is no writing.
        assert exit_code("import", line, data, "--mapping", mapping, "--dry-run") == 0
    assert exit_code("import", line, data, "--mapping", mapping) == 0


def test_real_data_do_not_go_beside_simulated_ones(
    line: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data, mapping = str(tmp_path / "panel.csv"), str(tmp_path / "panel.toml")
    assert exit_code("import", line, data, "--guess", mapping) == 0
    store = EmbeddedStore.open(tmp_path / "data")
    store.register([Tag("pump.speed.pv", "/min", simulated=True)])
    store.close()
    for more in ([], ["--dry-run"]):
        assert exit_code("import", line, data, "--mapping", mapping, *more) == 2
        assert "never mixed" in capsys.readouterr().err


def test_samples_that_the_line_does_not_keep_so_long_are_told(
    line: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data, mapping = tmp_path / "panel.csv", str(tmp_path / "panel.toml")
    data.write_text(DATA.replace("2026-07", "2020-07"), encoding="utf-8")
    assert exit_code("import", line, str(data), "--guess", mapping) == 0
    file = Path(line)
    file.write_text(LINE.replace('path = "data"', 'path = "data"\nkeep_raw = "400d"'), encoding="utf-8")
    capsys.readouterr()
    assert exit_code("import", line, str(data), "--mapping", mapping) == 0
    assert 'older than store.keep_raw = "400d"' in capsys.readouterr().out
    store = EmbeddedStore.open(tmp_path / "data", mode="read")
    assert store.span() is not None, "an import itself lets go of nothing"
    store.close()


def test_a_trial_by_its_name(line: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    data, mapping = str(tmp_path / "panel.csv"), str(tmp_path / "panel.toml")
    assert exit_code("import", line, data, "--guess", mapping) == 0
    assert exit_code("import", line, data, "--mapping", mapping) == 0
    out = str(tmp_path / "x.csv")
    capsys.readouterr()
    assert exit_code("export", line, out, "--trial", "PP 1") == 2
    assert "no trial is named 'PP 1'" in capsys.readouterr().err
    noon_ns = 1_782_900_000 * NS
    record = TrialRecord.open(tmp_path / "data" / "trials.db")
    for name, first_s, last_s in (("PP 1", 5, 15), ("PE", 15, 20), ("PE", 20, None)):
        made = record.open_trial(name, customer="", code_name="", start_ns=noon_ns + first_s * NS, plan={})
        if last_s is not None:
            record.close_trial(made.id, noon_ns + last_s * NS)
    record.close()
    assert exit_code("export", line, out, "--trial", "PP 1") == 0
    assert "10 samples (raw) of 1 tag, 2026-07-01 12:00:05+02:00 to 2026-07-01 12:00:15+02:00" in (
        capsys.readouterr().out
    )
    rows = (tmp_path / "x.csv").read_text(encoding="utf-8").splitlines()
    assert [rows[1].split(",")[2], rows[-1].split(",")[2]] == ["105.5", "114.5"]
    for words, said in (
        (["--trial", "PP 2"], "the nearest: PP 1"),
        (["--trial", "PE"], "2 trials are named 'PE'"),
        (["--trial", "PP 1", START], "give either --from"),
        ([], "give either --from"),
    ):
        assert exit_code("export", line, out, *words) == 2
        assert said in capsys.readouterr().err
    # One under way goes on until now.
    record = TrialRecord.open(tmp_path / "data" / "trials.db")
    record.close_trial(3, noon_ns + 25 * NS)
    record.open_trial("PS", customer="", code_name="", start_ns=noon_ns + 25 * NS, plan={})
    record.close()
    assert exit_code("export", line, out, "--trial", "PS", "--aggregate=Count", "--every", "10000 h") == 0


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
