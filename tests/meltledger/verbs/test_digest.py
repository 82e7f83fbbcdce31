"""``meltledger digest`` and ``meltledger digest done``, from a journal and a store to text, file, mail and exit code."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from historian.catalogue import canonical_tag
from historian.embedded.store import EmbeddedStore
from historian.frame import NS, Frame
from historian.quality import GOOD as GOOD_QUALITY
from historian.tags import Tag, TagKind
from meltledger.config import load
from meltledger.posting import outbox_path
from rules.digest.outbox import Outbox, State
from rules.entry import ActKind
from rules.journal import Journal
from tests.meltledger.test_cli import exit_code
from tests.meltledger.test_config import GOOD
from tests.rules.digest.told import EARLY, Told, a_day, at
from tests.support.mail_server import AUTHORITY, Letters, Posted, mail_server, web_server

SHIFT = "--shift=2026-11-25T06:00"
NOW = at("2026-11-25 23:00")
PLATE = "filter.plate.5.temp.pv"


@pytest.fixture(autouse=True)
def late_that_evening(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever the computer's clock says, it is the evening of that day."""
    monkeypatch.setattr(time, "time_ns", lambda: NOW)


@pytest.fixture
def said(capsys: pytest.CaptureFixture[str]) -> Any:
    return capsys.readouterr


def line_of(
    folder: Path, more: str = '[digest]\nshifts = ["06:00", "14:00", "22:00"]\nfolder = "out"\n'
) -> str:
    """A line whose journal tells of that day and whose recorder was at work in it."""
    (folder / "line.toml").write_text(f"{GOOD}\n{more}", encoding="utf-8")
    keep(folder, a_day())
    samples(folder)
    return str(folder / "line.toml")


def keep(folder: Path, told: Told) -> None:
    journal = Journal.open(folder / "data" / "journal.db")
    journal.append(told.ordered())
    journal.close()


def samples(folder: Path) -> None:
    """A heartbeat a minute from six to ten in the evening, and a plate that cools from eleven on."""
    store = EmbeddedStore.open(folder / "data")
    tags = [
        Tag("edge.heartbeat.state", "1", TagKind.BOOLEAN),
        canonical_tag(PLATE),
        canonical_tag("extruder.screw.speed.pv"),
    ]
    known = store.register(tags)
    times = at("2026-11-25 06:00") + np.arange(16 * 60, dtype=np.int64) * 60 * NS
    cooling = 220 - np.clip((times - at("2026-11-25 11:00")) / (600 * NS), 0, 14)
    n = len(times)
    for tag, values in zip(tags, (np.ones(n), cooling, np.full(n, 95.0)), strict=True):
        number = known[tag.path].id
        store.append(Frame.of([number] * n, times, values, [GOOD_QUALITY] * n, arrival_ns=int(times[-1])))
    store.close()


def test_a_shift_on_the_terminal(tmp_path: Path, said: Any) -> None:
    line = line_of(tmp_path)
    assert exit_code("digest", line, SHIFT) == 0
    text = said().out
    assert text.startswith(
        "MAINTENANCE DIGEST pilot-2\nShift of 25 Nov 2026, 06:00+01:00 to\n14:00+01:00, 8 h\n"
    )
    assert "1. NOW: wiper, melt filter" in text and "2. NEXT STOP: plate 5, melt filter" in text
    assert "screen, melt filter: 7 h since" in text.replace("\n  ", " "), (
        "the screw turned since the change at seven"
    )
    assert "Nothing was recorded" not in text
    assert exit_code("digest", "show", line, SHIFT) == 0
    assert said().out == text


def test_a_day_as_json(tmp_path: Path, said: Any) -> None:
    assert exit_code("digest", line_of(tmp_path), "--day=2026-11-25", "--json") == 0
    made = json.loads(said().out)
    assert made["period"]["kind"] == "day" and made["period"]["start_ns"] == at("2026-11-25 00:00")
    assert made["period"]["end_ns"] == NOW, "a day that is not over is told of until now"
    assert made["not_seen"]["unrecorded_s"] == 6 * 3600 + 61 * 60
    assert [i["part"] for i in made["work"]] == ["filter.wiper", "filter.plate.5", "filter.inlet.pressure"]
    assert "probe-break" in made["not_seen"]["not_judged"] and made["not_seen"]["rules_at_work"] > 3


def test_a_page_with_the_picture_of_the_evidence(tmp_path: Path, said: Any) -> None:
    line, page = line_of(tmp_path), tmp_path / "shift.html"
    assert exit_code("digest", line, SHIFT, f"--to={page}") == 0
    html = page.read_text(encoding="utf-8")
    assert html.count('<img src="data:image/png;base64,') == 1, (
        "of plate 5; of the others nothing was recorded"
    )
    assert said().out == ""
    for name in ("shift.txt", "shift.json"):
        assert exit_code("digest", line, SHIFT, f"--to={tmp_path / name}") == 0
    assert (tmp_path / "shift.txt").read_text(encoding="utf-8").startswith("MAINTENANCE DIGEST")
    assert json.loads((tmp_path / "shift.json").read_text(encoding="utf-8"))["line"] == "pilot-2"


def test_done_takes_a_part_from_the_list_and_keeps_who_and_what(
    tmp_path: Path, said: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    line = line_of(tmp_path)
    assert exit_code("digest", "done", line, "plate 5", "--by", "A. Doe", "--note", "cartridge and lead") == 0
    assert "plate 5, melt filter (filter.plate.5): noted as done by A. Doe" in said().out
    journal = Journal.open(tmp_path / "data" / "journal.db", mode="read")
    (act,) = journal.acts_after(0)
    journal.close()
    assert (act.what, act.subject, act.by, act.text) == (
        ActKind.REPAIRED,
        "filter.plate.5",
        "A. Doe",
        "cartridge and lead",
    )
    monkeypatch.setattr(time, "time_ns", lambda: NOW + 60 * NS)
    assert exit_code("digest", line, "--shift=2026-11-25T22:00", "--json") == 0
    made = json.loads(said().out)
    assert [i["part"] for i in made["work"]] == ["filter.wiper", "filter.inlet.pressure"]
    assert [(d["part"], d["by"], d["still_found"]) for d in made["done"]] == [
        ("filter.plate.5", "A. Doe", True)
    ]


def test_a_part_that_the_line_does_not_have(tmp_path: Path, said: Any) -> None:
    line = line_of(tmp_path)
    assert exit_code("digest", "done", line, "filter.plat.5", "--by", "A", "--note", "n") == 2
    assert "no part 'filter.plat.5'; the nearest: filter.plate.5" in said().err
    assert exit_code("digest", "done", line, "filter.plate.8", "--by", "A", "--note", "n") == 0, (
        "not found, but there"
    )
    assert exit_code("digest", "done", line, "filter.plate.8", "--by", " ", "--note", "n") == 2
    assert exit_code("digest", "done", line, "filter.plate.8", "--by", "A", "--note", " ") == 2


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([], "give one of --shift and --day"),
        ([SHIFT, "--day=2026-11-25"], "give one of --shift and --day"),
        (["--shift=2026-11-25T07:00"], "no shift begins at 2026-11-25 07:00"),
        (["--day=yesterday"], "'yesterday' is no day"),
        (["--day=2026-11-26"], "has not begun yet"),
        ([SHIFT, "--to=x.pdf"], ".html, .txt, .json"),
        ([SHIFT, "--again"], "--again belongs to --send"),
        (["--shift=2026-11-25T22:00", "--send"], "the shift is not over yet"),
    ],
)
def test_wrong_use_is_told(tmp_path: Path, said: Any, arguments: list[str], words: str) -> None:
    assert exit_code("digest", line_of(tmp_path), *arguments) == 2
    assert words in said().err


def test_without_journal_or_section(tmp_path: Path, said: Any) -> None:
    (tmp_path / "line.toml").write_text(GOOD, encoding="utf-8")
    line = str(tmp_path / "line.toml")
    assert exit_code("digest", line, "--day=2026-11-25") == 2
    assert "there is no journal here yet" in said().err
    assert exit_code("digest", line, "--day=2026-11-24", "--send") == 2
    assert "there is no [digest]" in said().err
    assert exit_code("digest", "done", line, "filter.screen", "--by", "A", "--note", "n") == 2
    assert not (tmp_path / "data").exists()


@pytest.fixture
def served(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[str, Letters, Posted]]:
    """A line whose digests go to a real mail server, a real web server and a folder."""
    letters, posted = Letters(), Posted()
    AUTHORITY.cert_pem.write_to_path(str(tmp_path / "site.pem"))
    monkeypatch.setenv("SMTP_USER", "line")
    monkeypatch.setenv("SMTP_PASSWORD", "right")
    with mail_server(letters, password="right") as mail, web_server(posted) as web:
        more = (
            '[digest]\nshifts = ["06:00", "14:00", "22:00"]\nmail = ["a@site.example", "b@site.example"]\n'
            f'smtp = "smtp://127.0.0.1:{mail}"\nsender = "line@site.example"\nca = "site.pem"\n'
            'user_env = "SMTP_USER"\npassword_env = "SMTP_PASSWORD"\nfolder = "out"\n'
            f'webhook = "https://127.0.0.1:{web}/in"\n[[digest.part]]\nat = "filter.plate.*"\nnumber = "HP-24"\n'
        )
        yield line_of(tmp_path, more), letters, posted


def test_sent_once_to_everybody(served: tuple[str, Letters, Posted], tmp_path: Path, said: Any) -> None:
    line, letters, posted = served
    assert exit_code("digest", line, SHIFT, "--send") == 0
    assert said().err.count(": sent, ") == 4
    assert exit_code("digest", line, SHIFT, "--send", "--again") == 0
    assert said().err.count(": was sent already, ") == 4
    assert sorted(letters.recipients) == [["a@site.example"], ["b@site.example"]]
    assert b"image/png" in letters.bodies[0] and b"HP-24" in letters.bodies[0]
    assert [json.loads(b)["period"]["key"] for b in posted.bodies] == [EARLY.key]
    assert [p.name for p in (tmp_path / "out").iterdir()] == ["pilot-2-2026-11-25T0500Z-shift.html"]


def test_what_could_not_be_sent_waits_and_the_exit_code_says_so(
    served: tuple[str, Letters, Posted], said: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    line, letters, posted = served
    letters.answers = ["451 4.3.0 not now"]
    posted.answers = [404]
    assert exit_code("digest", line, SHIFT, "--send") == 3
    err = said().err
    assert err.count("waits on disk, 451 4.3.0 not now") == 2 and "was refused, 404" in err
    letters.answers, posted.answers = ["250 taken"], [204]
    monkeypatch.setattr(time, "time_ns", lambda: NOW + 120 * NS)
    assert exit_code("digest", line, SHIFT, "--send") == 3
    assert "was refused, 404" in said().err and len(letters.bodies) == 2 and len(posted.bodies) == 1
    assert exit_code("digest", line, SHIFT, "--send", "--again") == 0
    assert len(letters.bodies) == 2 and len(posted.bodies) == 2


def test_one_that_may_have_arrived_is_told_in_the_next_digest(
    served: tuple[str, Letters, Posted], said: Any
) -> None:
    line, letters, _ = served
    letters.answers = ["250 and hang up", "250 taken"]
    assert exit_code("digest", line, SHIFT, "--send") == 3
    err = said().err
    assert (
        "digest shift/2026-11-25T05:00Z to a@site.example: may have arrived" in err
        and "--send --again" in err
    )
    assert exit_code("digest", line, SHIFT, "--send") == 3
    assert len(letters.bodies) == 2, "not sent twice by itself"
    assert exit_code("digest", line, "--shift=2026-11-25T14:00") == 0
    text = " ".join(said().out.split())
    assert "It is not known whether the digest shift/2026-11-25T05:00Z arrived at a@site.example" in text
    box = Outbox(outbox_path(load(Path(line))))
    (doubt,) = box.in_state(State.HANDED_OVER)
    box.close()
    assert doubt.name in text.replace(" ", "") and doubt.name.encode() in letters.bodies[0]
