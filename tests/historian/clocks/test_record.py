"""What people say about clocks is only ever added to, and only counts when it is whole."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from historian.clocks.record import NAME, confirm, fix, read_record, withdraw
from historian.errors import StoredDataDamaged, StoreReadOnly, WrongInput
from historian.frame import NS

MS = 1_000_000
WHO = {"at_ns": 5 * NS, "by": "Kim", "why": "the PLC was on local time"}


def test_a_fix_counts_until_it_is_withdrawn_and_both_stay(tmp_path: Path) -> None:
    assert read_record(tmp_path).fixes == ()
    made = fix(tmp_path, "plc", 100 * NS, 200 * NS, -3600 * NS, **WHO)
    assert read_record(tmp_path).fixes == (made,)
    assert (made.id, made.source, made.by, made.why) == (1, "plc", "Kim", "the PLC was on local time")
    before = (tmp_path / NAME).read_bytes()
    withdraw(tmp_path, 1, **WHO)
    assert (tmp_path / NAME).read_bytes().startswith(before)
    record = read_record(tmp_path)
    assert record.fixes == () and [line["what"] for line in record.lines] == ["fix", "withdraw"]
    again = fix(tmp_path, "plc", 100 * NS, 200 * NS, 250 * MS, **WHO)
    assert again.id == 3


@pytest.mark.parametrize(
    ("start", "end", "shift"),
    [(150, 250, 3600), (0, 101, 3600), (120, 130, -7200), (300, 400, -250), (90, 95, 10)],
)
def test_fixes_that_share_a_time_are_refused(tmp_path: Path, start: int, end: int, shift: int) -> None:
    fix(tmp_path, "plc", 100 * NS, 200 * NS, -10 * NS, **WHO)
    with pytest.raises(WrongInput, match="fix 1 of source plc already covers"):
        fix(tmp_path, "plc", start * NS, end * NS, shift * NS, **WHO)
    fix(tmp_path, "meter", start * NS, end * NS, shift * NS, **WHO)
    assert len(read_record(tmp_path).fixes) == 2


@pytest.mark.parametrize(
    ("start", "end", "shift", "words"),
    [
        (5, 5, NS, "must end after it starts"),
        (5, 9, 0, "whole milliseconds"),
        (5, 9, NS + 1, "whole milliseconds"),
    ],
)
def test_what_is_no_fix_is_refused(tmp_path: Path, start: int, end: int, shift: int, words: str) -> None:
    with pytest.raises(WrongInput, match=words):
        fix(tmp_path, "plc", start, end, shift, **WHO)
    with pytest.raises(WrongInput, match="say who"):
        fix(tmp_path, "plc", 0, 9, NS, at_ns=1, by=" ", why="x")
    with pytest.raises(WrongInput, match="no fix with the number 7 counts; those that do: none"):
        withdraw(tmp_path, 7, **WHO)


def test_the_newest_word_on_this_computers_clock_counts(tmp_path: Path) -> None:
    confirm(tmp_path, at_ns=7, by="Kim", why="compared with my watch")
    confirm(tmp_path, at_ns=9, by="Kim", why="compared with my watch")
    assert read_record(tmp_path).confirmed_ns == 9


def test_a_line_torn_by_a_power_cut_never_counted_and_spoils_nothing(tmp_path: Path) -> None:
    made = fix(tmp_path, "plc", 100 * NS, 200 * NS, NS, **WHO)
    whole = (tmp_path / NAME).read_bytes()
    for cut in range(1, len(whole)):
        (tmp_path / NAME).write_bytes(whole + whole[:cut])
        if whole[:cut].endswith(b"\n"):
            continue
        assert read_record(tmp_path).fixes == (made,)
    confirm(tmp_path, **WHO)
    assert len((tmp_path / NAME).read_bytes().splitlines()) == 2


@pytest.mark.parametrize("bad", ["nonsense", '"text"', '{"what": "fix"}', '{"what": "delete", "fix": 1}'])
def test_a_damaged_line_is_told_with_its_place(tmp_path: Path, bad: str) -> None:
    confirm(tmp_path, **WHO)
    with (tmp_path / NAME).open("a", encoding="utf-8") as file:
        file.write(bad + "\n")
    with pytest.raises(StoredDataDamaged, match=r"clock\.jsonl, line 2"):
        read_record(tmp_path)


def test_lines_read_as_json_without_us(tmp_path: Path) -> None:
    fix(tmp_path, "plc", 100 * NS, 200 * NS, NS, **WHO)
    (line,) = [json.loads(text) for text in (tmp_path / NAME).read_text(encoding="utf-8").splitlines()]
    assert line == {
        "what": "fix", "source": "plc", "start_ns": 100 * NS, "end_ns": 200 * NS, "shift_ns": NS, **WHO,
    }  # fmt: skip


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x", encoding="utf-8")
    with pytest.raises(StoreReadOnly, match="file"):
        confirm(tmp_path / "file" / "deeper", **WHO)
