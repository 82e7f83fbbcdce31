"""``meltledger clock``: fixed on the record, read at once, withdrawn, never altered."""

from __future__ import annotations

import csv
import json
from datetime import UTC, datetime
from pathlib import Path

import pytest

from historian import NS, Frame
from historian.clocks.record import NAME
from meltledger.cli import main
from meltledger.config import load
from meltledger.stores import open_store
from tests.meltledger.test_config import GOOD

T = int(datetime(2031, 3, 4, 8, tzinfo=UTC).timestamp()) * NS
STRETCH = ("--from", "2031-03-04T08:00+00:00", "--to", "2031-03-04T09:00+00:00")
WHO = ("--by", "Kim", "--why", "the PLC was on local time")


def run(*arguments: str) -> int:
    with pytest.raises(SystemExit) as caught:
        main(list(arguments))
    return int(caught.value.code or 0)


@pytest.fixture
def line(tmp_path: Path) -> Path:
    """A line with one sample every ten minutes for two hours."""
    path = tmp_path / "line.toml"
    path.write_text(GOOD, encoding="utf-8")
    config = load(path)
    store = open_store(config)
    number = store.register(config.tags)[config.tags[0].path].id
    times = [T + k * 600 * NS for k in range(12)]
    store.append(Frame.of([number] * 12, times, list(range(12)), [0] * 12, arrival_ns=times[-1]))
    store.close()
    return path


def stored_minutes(line: Path, *, as_stored: bool = False) -> list[int]:
    config = load(line)
    store = open_store(config, mode="read", as_stored=as_stored)
    series = store.read([config.tags[0].path], 0, 2**62)[config.tags[0].path]
    store.close()
    return ((series.time_ns - T) // (60 * NS)).tolist()


def source_of(line: Path) -> str:
    return load(line).file.source[0].name


def test_fix_list_and_withdraw(line: Path, capsys: pytest.CaptureFixture[str]) -> None:
    source = source_of(line)
    before = stored_minutes(line)
    assert run("clock", "fix", str(line), source, *STRETCH, "--shift", "3 h", *WHO) == 0
    assert "are read 10800 s later; what is stored stays as it is" in capsys.readouterr().out
    assert stored_minutes(line) == [60, 70, 80, 90, 100, 110, 180, 190, 200, 210, 220, 230]
    assert stored_minutes(line, as_stored=True) == before
    assert run("clock", "list", str(line)) == 0
    said = capsys.readouterr().out
    assert said.startswith("1: ") and "Kim" in said and "10800 s later (the PLC was on local time)" in said
    assert run("clock", "withdraw", str(line), "1", *WHO) == 0
    assert stored_minutes(line) == before
    capsys.readouterr()
    assert run("clock", "list", str(line), "--json") == 0
    listed = [json.loads(row) for row in capsys.readouterr().out.splitlines()]
    assert [(row["id"], row["what"], row["counts"]) for row in listed] == [
        (1, "fix", False),
        (2, "withdraw", False),
    ]


def test_an_open_reader_follows_the_record(line: Path) -> None:
    config = load(line)
    store = open_store(config, mode="read")
    newest = store.latest([config.tags[0].path])[config.tags[0].path].time_ns
    run("clock", "fix", str(line), source_of(line), "--from", "2031-03-04T09:00+00:00", "--to", "2032-01-01",
        "--shift", "250 ms", *WHO)  # fmt: skip
    assert store.latest([config.tags[0].path])[config.tags[0].path].time_ns == newest + 250_000_000
    store.close()


def test_an_export_and_a_replay_read_what_they_should(line: Path, tmp_path: Path) -> None:
    run("clock", "fix", str(line), source_of(line), *STRETCH, "--shift", "-3 h", *WHO)
    out = tmp_path / "out.csv"
    assert (
        run(
            "export",
            str(line),
            str(out),
            "--from",
            "2031-03-04T05:00+00:00",
            "--to",
            "2031-03-04T06:00+00:00",
            "--utc",
        )
        == 0
    )
    with out.open(encoding="utf-8", newline="") as file:
        assert len(list(csv.reader(file))) == 1 + 6
    store = open_store(load(line), mode="read")
    (_, frame), *_ = store.frames()
    store.close()
    assert int(frame.time_ns[0]) == T


def test_a_record_that_is_damaged_is_told_by_readers(line: Path) -> None:
    config = load(line)
    (config.folder / NAME).write_text("nonsense\n", encoding="utf-8")
    assert run("export", str(line), str(line.parent / "o.csv"), "--from", "2031-03-04") == 2


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("nobody", *STRETCH, "--shift", "1 h"), "no source is named 'nobody'"),
        (("SOURCE", *STRETCH, "--shift", "0.0001 s"), "no whole number of milliseconds"),
        (("SOURCE", *STRETCH, "--shift", "3 bar"), "bar"),
        (("SOURCE", "--from", "then", "--to", "now", "--shift", "1 h"), "'then' is no time"),
        (
            ("SOURCE", "--from", "2031-03-04", "--to", "2031-03-04", "--shift", "1 h"),
            "must end after it starts",
        ),
    ],
)
def test_wrong_use_is_told(
    line: Path, arguments: tuple[str, ...], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    used = [source_of(line) if a == "SOURCE" else a for a in arguments]
    assert run("clock", "fix", str(line), *used, *WHO) == 2
    assert words in capsys.readouterr().err
    assert not (load(line).folder / NAME).exists() or not (load(line).folder / NAME).read_bytes()


def test_overlapping_fixes_are_refused(line: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for code in (0, 2):
        assert run("clock", "fix", str(line), source_of(line), *STRETCH, "--shift", "3 h", *WHO) == code
    assert "fix 1 of source" in capsys.readouterr().err


def test_the_clock_of_this_computer_is_confirmed(line: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("clock", "confirm", str(line), "--why", "compared with my watch") == 0
    assert "is the right time" in capsys.readouterr().out
    assert run("clock", "list", str(line)) == 0
    assert "this computer's clock is right (compared with my watch)" in capsys.readouterr().out
