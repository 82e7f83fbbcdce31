"""Panels' lists of alarms: what is guessed, what is refused with its line, and that nothing is stored twice."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from historian.errors import WrongInput
from historian.exchange import layout_of
from historian.frame import NS
from rules.entry import Entry, EntryKind
from rules.imported import AlarmList, Given, entries_of, form_of, read_alarm_list
from rules.imported.vocabulary import NAMED, heading_word, state_word
from rules.severity import class_of_severity

NOW_NS = int(datetime(2026, 11, 1, tzinfo=UTC).timestamp()) * NS
MADRID = "Europe/Madrid"


def write(tmp_path: Path, text: str, encoding: str = "utf-8") -> Path:
    path = tmp_path / "panel.csv"
    path.write_bytes(text.encode(encoding))
    return path


def read(path: Path, zone: str = MADRID, separator: str = "", **confirmed: object) -> AlarmList:
    form = form_of(path, layout_of(path, separator), Given(**confirmed))  # type: ignore[arg-type]
    return read_alarm_list(path, form, zone=zone, now_ns=NOW_NS)


def entries(path: Path, **more: object) -> list[Entry]:
    return entries_of(read(path, **more).happenings, origin="panel", file=path.name)  # type: ignore[arg-type]


def brief(made: list[Entry]) -> list[tuple[str, str, str, bool, bool]]:
    """Time UTC, which alarm, what changed, active, acknowledged."""
    found = []
    for e in made:
        data = e.data["data"]
        when = datetime.fromtimestamp(e.time_ns / NS, UTC).strftime("%m-%d %H:%M:%S")
        found.append((when, e.subject, "+".join(data["changes"]), data["active"], data["acked"]))
    return found


GERMAN = """Anlage 7;;;;
Datum;Uhrzeit;Meldenummer;Meldetext;Zustand
01.07.2026;14:00:00;4711;Schmelzedruck hoch, Sieb prüfen;K
01.07.2026;14:00:20;4711;Schmelzedruck hoch, Sieb prüfen;Q
01.07.2026;14:03:05;4711;Schmelzedruck hoch, Sieb prüfen;G
01.07.2026;14:05:00;12;Messerdrehzahl niedrig;K
"""


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
def test_a_list_with_semicolons_in_any_encoding(tmp_path: Path, encoding: str) -> None:
    made = entries(write(tmp_path, GERMAN, encoding))
    assert brief(made) == [
        ("07-01 12:00:00", "list:4711", "came", True, False),
        ("07-01 12:00:20", "list:4711", "acknowledged", True, True),
        ("07-01 12:03:05", "list:4711", "returned", False, True),
        ("07-01 12:05:00", "list:12", "came", True, False),
    ]
    first = made[0]
    assert (first.kind, first.rule, first.by) == (EntryKind.MACHINE, "panel", "panel")
    assert first.data["kind"] == "machine-alarm"
    assert first.data["data"]["message"] == "Schmelzedruck hoch, Sieb prüfen"
    assert first.data["data"]["list"] == {"file": "panel.csv", "line": 3}
    assert not any(e.data["data"]["retain"] for e in made), "whether one still stands is not known"


NEWEST_FIRST = """Time,Number,Text,State,Severity,Area,User
2026-07-01 14:00:09,7,"Flow low, pump A",gone,700,water,
2026-07-01 14:00:05,7,"Flow low, pump A",ack,700,water,ada
2026-07-01 14:00:05,7,"Flow low, pump A",come,700,water,
"""


def test_a_list_that_begins_with_the_newest(tmp_path: Path) -> None:
    made = entries(write(tmp_path, NEWEST_FIRST))
    assert [c for _, _, c, _, _ in brief(made)] == ["came", "acknowledged", "returned"]
    data = made[0].data["data"]
    assert (data["severity"], data["severity_class"], data["source_name"]) == (700, "error", "water")
    assert "acknowledged by ada" in made[1].data["text"]


THREE_TIMES = """No.\tMessage\tCome\tGone\tAck
3\tDrive trip\t07/01/2026 02:00:00 PM\t07/01/2026 02:10:00 PM\t07/01/2026 02:01:00 PM
4\tDoor open\t07/14/2026 02:00:00 PM\t\t
"""


def test_a_list_with_a_line_an_alarm_and_three_times(tmp_path: Path) -> None:
    made = entries(write(tmp_path, THREE_TIMES))
    assert brief(made) == [
        ("07-01 12:00:00", "list:3", "came", True, False),
        ("07-01 12:01:00", "list:3", "acknowledged", True, True),
        ("07-01 12:10:00", "list:3", "returned", False, True),
        ("07-14 12:00:00", "list:4", "came", True, False),
    ]


def test_a_list_of_whole_states_tells_what_is_new_in_each(tmp_path: Path) -> None:
    rows = [(1, "K"), (2, "KQ"), (3, "KGQ"), (4, "K"), (5, "KG"), (6, "KGQ")]
    text = "Time;Nr;Text;Zustand\n" + "".join(f"2026-07-01 12:00:0{s};9;Pumpe;{w}\n" for s, w in rows)
    made = entries(write(tmp_path, text))
    assert [c for _, _, c, _, _ in brief(made)] == [
        "came", "acknowledged", "returned", "came", "returned", "acknowledged",
    ]  # fmt: skip


def test_a_list_without_states_only_says_that_it_was(tmp_path: Path) -> None:
    text = "Time;Text\n2026-07-01 12:00:00;Pump A failed to start\n2026-07-01 12:01:00;Hopper is empty\n"
    made = entries(write(tmp_path, text))
    assert [e.data["kind"] for e in made] == ["machine-event"] * 2
    assert brief(made)[0][1:] == ("list:Pump A failed to start", "told", False, True)


def test_without_headings_state_and_text_are_guessed_and_to_be_confirmed(tmp_path: Path) -> None:
    text = "".join(
        f"2026-07-01 12:00:{s:02d};{'+-'[s % 2]};Level of silo {s // 2 % 3} is low\n" for s in range(20)
    )
    path = write(tmp_path, text)
    form = form_of(path, layout_of(path))
    assert form.places == {"state": 1, "text": 2}
    assert any("taken for the state" in d for d in form.doubts)
    assert [c for _, _, c, _, _ in brief(entries(path))][:2] == ["came", "returned"]


def test_what_is_confirmed_goes_before_what_is_guessed(tmp_path: Path) -> None:
    text = "When;A;B\n01/02/2026 10:00:00;stuck valve;X1\n01/02/2026 10:00:05;stuck valve;X0\n"
    path = write(tmp_path, text)
    confirmed = {
        "format": "%m/%d/%Y %H:%M:%S",
        "columns": {"text": "A", "state": 3},
        "states": {"X1": "come", "x0": "gone"},
    }
    assert brief(entries(path, zone="UTC", **confirmed)) == [
        ("01-02 10:00:00", "list:stuck valve", "came", True, False),
        ("01-02 10:00:05", "list:stuck valve", "returned", False, False),
    ]


def test_times_are_the_sites_and_a_stamp_with_an_offset_is_its_own(tmp_path: Path) -> None:
    text = "Time;Text;State\n2026-01-10T12:00:00;cold;come\n2026-07-10T12:00:00;warm;come\n"
    assert [b[0] for b in brief(entries(write(tmp_path, text)))] == ["01-10 11:00:00", "07-10 10:00:00"]
    text = "Time;Text;State\n2026-01-10T12:00:00Z;cold;come\n2026-07-10T12:00:00+02:00;warm;come\n"
    assert [b[0] for b in brief(entries(write(tmp_path, text)))] == ["01-10 12:00:00", "07-10 10:00:00"]


def test_the_hour_that_passes_twice_and_the_one_that_is_skipped(tmp_path: Path) -> None:
    hours = ["2026-10-25 01:59:00", "2026-10-25 02:30:00", "2026-10-25 02:10:00", "2026-10-25 03:00:00"]
    text = "Time;Text;State\n" + "".join(f"{h};pump;come\n" for h in hours)
    assert [b[0] for b in brief(entries(write(tmp_path, text)))] == [
        "10-24 23:59:00", "10-25 00:30:00", "10-25 01:10:00", "10-25 02:00:00",
    ]  # fmt: skip
    text = "Time;Text;State\n2026-03-29 01:00:00;pump;come\n2026-03-29 02:30:00;pump;gone\n"
    found = read(write(tmp_path, text))
    assert [r.line for r in found.refused] == [3] and "skipped" in found.refused[0].reason


GOOD = "2026-07-01 12:00:00;4;Pump;come\n" * 1 + "".join(
    f"2026-07-01 12:01:{s:02d};4;Pump;{'gone' if s % 2 == 0 else 'come'}\n" for s in range(20)
)


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("2026-07-41 12:00:00;4;Pump;come", "'2026-07-41 12:00:00' is no time in the form iso"),
        ("2036-07-01 12:00:00;4;Pump;come", "still to come"),
        ("2026-07-01 12:09:00;;;come", "neither a number nor a text"),
        (
            "2026-07-01 12:09:00;4;Pump;perhaps",
            "the state 'perhaps' means; say so in a mapping, under [states]",
        ),
        ("2026-07-01 12:09:00;4", "the state '' means"),
    ],
)
def test_a_line_that_does_not_fit_is_named_and_the_others_are_taken(
    tmp_path: Path, line: str, words: str
) -> None:
    found = read(write(tmp_path, f"Time;No;Text;State\n{GOOD}{line}\n"))
    assert len(found.happenings) == 21 and found.rows == 22
    (refused,) = found.refused
    assert refused.line == 23 and words in refused.reason


@pytest.mark.parametrize("severity", ["0", "1001", "-5", "high", "3.5", "²"])
def test_a_severity_that_is_none_is_refused(tmp_path: Path, severity: str) -> None:
    rows = "".join(f"2026-07-01 12:00:{s:02d};Pump;come;500\n" for s in range(20))
    found = read(
        write(tmp_path, f"Time;Text;State;Severity\n{rows}2026-07-01 12:01:00;Pump;gone;{severity}\n")
    )
    assert [r.line for r in found.refused] == [22] and "severity" in found.refused[0].reason


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "no rows of separated cells"),
        ("only words here\nand here\n", "no rows of separated cells"),
        ("a;b\n1;2\n3;4\n", "no column of times is found"),
        ("Time;x\n2026-07-01 12:00:00;1\n2026-07-01 12:00:01;2\n", "no column of texts or numbers"),
    ],
)
def test_a_file_that_is_no_list_is_refused_with_its_name(tmp_path: Path, text: str, words: str) -> None:
    with pytest.raises(WrongInput, match=r"panel\.csv") as error:
        read(write(tmp_path, text))
    assert words in str(error.value)


def test_a_column_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(WrongInput, match="the header has no 'Priority'; it has Datum"):
        read(write(tmp_path, GERMAN), columns={"class": "Priority"})
    with pytest.raises(WrongInput, match="no column number 9"):
        read(write(tmp_path, GERMAN), columns={"class": 9})


def test_a_wrong_encoding_says_so(tmp_path: Path) -> None:
    with pytest.raises(WrongInput, match="is not written in"):
        read(write(tmp_path, GERMAN * 20, "cp1252"), encoding="utf-16")


def test_the_same_line_again_is_the_same_entry(tmp_path: Path) -> None:
    twice = GERMAN + GERMAN.splitlines()[2] + "\n"
    assert [e.key for e in entries(write(tmp_path, twice))] == [
        e.key for e in entries(write(tmp_path, GERMAN))
    ]
    later = "\n".join([*GERMAN.splitlines()[:2], *GERMAN.splitlines()[3:]]) + "\n"
    assert {e.key for e in entries(write(tmp_path, later))} <= {
        e.key for e in entries(write(tmp_path, GERMAN))
    }


@pytest.mark.parametrize("name", NAMED)
def test_words_of_states(name: str) -> None:
    words = {"come": "Kommt", "gone": "desaparece", "ack": " Quittiert ", "come+ack": "KQ", "gone+ack": "kgq"}
    assert state_word(words[name]) == name


def test_words_of_headings() -> None:
    assert [heading_word(h) for h in ("Alarm_No.", "MELDETEXT", "estado", "x")] == [
        "number",
        "text",
        "state",
        "",
    ]


def test_the_classes_of_severity_of_the_plastics_companion() -> None:
    """Source: OPC 40083, 6.4: 1-333 information, 334-666 warning, 667-1000 error."""
    edges = {
        1: "information",
        333: "information",
        334: "warning",
        666: "warning",
        667: "error",
        1000: "error",
    }
    assert {s: class_of_severity(s) for s in edges} == edges
    assert class_of_severity(0) == class_of_severity(1001) == "not told"


_cell = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
_lines = st.lists(st.lists(_cell, max_size=5).map(";".join), max_size=8)


@settings(max_examples=80, deadline=None)
@given(_lines)
def test_whatever_stands_in_it_is_taken_or_refused(
    tmp_path_factory: pytest.TempPathFactory, lines: list[str]
) -> None:
    path = tmp_path_factory.mktemp("list") / "panel.csv"
    path.write_text(f"Time;No;Text;State\n{GOOD}" + "\n".join(lines), encoding="utf-8", newline="")
    try:
        found = read(path)
    except WrongInput as error:
        assert "panel.csv" in str(error)
        return
    made = entries_of(found.happenings, origin="panel", file=path.name)
    assert len({e.key for e in made}) == len(made) <= len(found.happenings)
    assert len(found.happenings) + len(found.refused) >= found.rows
