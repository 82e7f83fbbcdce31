"""The task of a running line that makes digests when a shift is over, and sends them."""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest

from historian.event import Event
from meltledger import digestdesk
from meltledger.config import LineConfig, load
from meltledger.digestdesk import AGAIN_NS, SETTLE_NS, Desk, digested
from meltledger.posting import outbox_path
from rules.digest.outbox import Outbox, State
from tests.meltledger.test_config import GOOD
from tests.meltledger.verbs.test_digest import keep
from tests.rules.digest.told import a_day, at
from tests.support.mail_server import AUTHORITY, Letters, mail_server
from tests.support.ports import free_port

DIGEST = '[digest]\nshifts = ["06:00", "14:00", "22:00"]\ndaily = true\nfolder = "out"\n'


class Clock:
    def __init__(self, text: str) -> None:
        self.now = at(text)

    def now_ns(self) -> int:
        return self.now


class Line:
    """A line with a desk whose clock we set."""

    def __init__(self, folder: Path, more: str = DIGEST, start: str = "2026-11-25 12:00") -> None:
        (folder / "line.toml").write_text(f"{GOOD}\n{more}", encoding="utf-8")
        self.folder, self.config = folder, load(folder / "line.toml")
        self.clock, self.events = Clock(start), list[Event]()
        self.desk = self.another_desk()

    def another_desk(self) -> Desk:
        return Desk(self.config, self.clock, self.events.append)

    def at(self, text: str, more_ns: int = 0) -> None:
        self.clock.now = at(text) + more_ns
        self.desk.step()

    @property
    def files(self) -> list[str]:
        out = self.folder / "out"
        return sorted(p.name for p in out.iterdir()) if out.exists() else []

    @property
    def kinds(self) -> list[str]:
        return [e.kind for e in self.events]


@pytest.fixture
def line(tmp_path: Path) -> Line:
    made = Line(tmp_path)
    keep(tmp_path, a_day())
    return made


def test_a_digest_comes_when_its_shift_is_over_and_has_settled(line: Line) -> None:
    line.at("2026-11-25 12:00")
    line.at("2026-11-25 14:00", SETTLE_NS - 1)
    assert line.files == []
    line.at("2026-11-25 14:00", SETTLE_NS)
    line.at("2026-11-25 14:30")
    assert line.files == ["pilot-2-2026-11-25T0500Z-shift.html"]
    line.at("2026-11-26 00:05")
    assert line.files == [
        "pilot-2-2026-11-24T2300Z-day.html",
        "pilot-2-2026-11-25T0500Z-shift.html",
        "pilot-2-2026-11-25T1300Z-shift.html",
    ]
    assert line.events == []


def test_what_came_due_while_the_program_did_not_run_is_made_afterwards(line: Line) -> None:
    line.at("2026-11-25 12:00")
    line.desk = line.another_desk()
    line.at("2026-11-26 07:00")
    assert [f for f in line.files if "shift" in f] == [
        "pilot-2-2026-11-25T0500Z-shift.html",
        "pilot-2-2026-11-25T1300Z-shift.html",
        "pilot-2-2026-11-25T2100Z-shift.html",
    ]


def test_after_a_long_time_only_the_last_two_days_are_made(line: Line) -> None:
    line.at("2026-11-25 12:00")
    line.at("2027-02-01 12:00")
    assert len([f for f in line.files if "shift" in f]) == 6 and len(line.files) == 8


def test_a_new_line_sends_nothing_of_the_past(line: Line) -> None:
    line.at("2026-11-25 14:05")
    assert line.files == []


def test_a_shift_and_a_day_that_end_together_are_both_made_though_killed_in_between(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    line = Line(tmp_path, DIGEST.replace('"06:00", "14:00", "22:00"', '"00:00", "12:00"'))
    keep(tmp_path, a_day())
    line.at("2026-11-25 13:00")
    put, calls = Outbox.put, []

    def killed(self: Outbox, period: str, *more: object, **named: object) -> int:
        calls.append(period)
        if len(calls) == 2:
            raise KeyboardInterrupt
        return put(self, period, *more, **named)  # type: ignore[arg-type]

    monkeypatch.setattr(Outbox, "put", killed)
    with pytest.raises(KeyboardInterrupt):
        line.at("2026-11-26 00:05")
    monkeypatch.undo()
    line.desk = line.another_desk()
    line.at("2026-11-26 00:06")
    assert {c.split("/")[0] for c in calls} == {"shift", "day"}
    assert line.files == ["pilot-2-2026-11-24T2300Z-day.html", "pilot-2-2026-11-25T1100Z-shift.html"]


def test_trouble_is_told_once_and_once_more_when_it_is_another(line: Line) -> None:
    (line.folder / "out").write_text("a file is in the way")
    line.at("2026-11-25 12:00")
    for minute in ("05", "10", "15"):
        line.at(f"2026-11-25 14:{minute}")
    assert line.kinds == ["digest-put-off"] and "check the folder" in line.events[0].text
    (line.folder / "out").unlink()
    line.at("2026-11-25 16:00")
    assert line.kinds == ["digest-put-off", "digest-sent"] and len(line.files) == 1


def test_a_line_whose_journal_is_not_there_says_so_and_tries_again(tmp_path: Path) -> None:
    line = Line(tmp_path)
    line.at("2026-11-25 12:00")
    line.at("2026-11-25 14:05")
    line.at("2026-11-25 14:06")
    assert line.kinds == ["digest-trouble"] and "there is no journal here yet" in line.events[0].text
    keep(tmp_path, a_day())
    line.at("2026-11-25 14:07")
    assert line.files == []
    line.at("2026-11-25 14:05", AGAIN_NS)
    assert len(line.files) == 1


def test_what_nobody_foresaw_does_not_end_it(line: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError

    line.at("2026-11-25 12:00")
    monkeypatch.setattr(digestdesk, "make_digest", broken)
    line.at("2026-11-25 14:05")
    assert line.kinds == ["digest-trouble"] and "ZeroDivisionError" in line.events[0].text
    monkeypatch.undo()
    line.at("2026-11-25 14:05", AGAIN_NS)
    assert len(line.files) == 1


def mailing(port: int) -> str:
    return (
        '[digest]\nshifts = ["06:00", "14:00", "22:00"]\nmail = ["a@site.example"]\nca = "site.pem"\n'
        f'smtp = "smtp://127.0.0.1:{port}"\nsender = "line@site.example"\n'
    )


def test_a_mail_server_that_is_away_gets_the_digests_in_order_when_it_is_back(tmp_path: Path) -> None:
    AUTHORITY.cert_pem.write_to_path(str(tmp_path / "site.pem"))
    port, letters = free_port(), Letters()
    line = Line(tmp_path, mailing(port))
    keep(tmp_path, a_day())
    line.at("2026-11-25 12:00")
    line.at("2026-11-25 14:05")
    line.at("2026-11-25 22:05")
    assert line.kinds == ["digest-put-off"]
    line.desk = line.another_desk()
    with mail_server(letters, port=port):
        line.at("2026-11-26 01:00")
        line.at("2026-11-26 01:01")
    starts = [b.partition(b"Subject: ")[2][:40] for b in letters.bodies]
    assert [b"06:00" in s for s in starts] == [True, False] and b"14:00" in starts[1]


def test_one_in_doubt_is_told_in_the_journal_once(tmp_path: Path) -> None:
    AUTHORITY.cert_pem.write_to_path(str(tmp_path / "site.pem"))
    letters = Letters(answers=["250 and hang up"])
    with mail_server(letters) as port:
        line = Line(tmp_path, mailing(port))
        keep(tmp_path, a_day())
        line.at("2026-11-25 12:00")
        for minute in ("05", "20", "50"):
            line.at(f"2026-11-25 14:{minute}")
    assert line.kinds.count("digest-in-doubt") == 1 and len(letters.bodies) == 1
    box = Outbox(outbox_path(line.config))
    assert [p.state for p in box.in_state(*State)] == [State.HANDED_OVER]
    box.close()


async def test_beside_a_running_line(line: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(digestdesk, "EVERY_S", 0.01)
    async with digested(line.config, line.clock, line.events.append):
        while not outbox_path(line.config).exists():  # noqa: ASYNC110
            await asyncio.sleep(0.01)
        await asyncio.sleep(0.05)
        line.clock.now = at("2026-11-25 14:05")
        while not line.files:  # noqa: ASYNC110
            await asyncio.sleep(0.01)
    assert line.files == ["pilot-2-2026-11-25T0500Z-shift.html"]


async def test_a_line_without_the_section_has_no_desk(tmp_path: Path) -> None:
    config: LineConfig = Line(tmp_path, "").config
    async with digested(config, Clock("2026-11-25 14:05"), lambda _: None):
        await asyncio.sleep(0)
    assert not outbox_path(config).exists()
