"""A process that is killed anywhere on the way: no mail is sent twice, and none is lost without a word."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from rules.digest.delivery import Fate, Outcome, doubts, empty
from rules.digest.outbox import Letter, Outbox, Post, State
from rules.digest.smtp import MailServer
from tests.rules.digest.told import at
from tests.support.mail_server import AUTHORITY, Letters, client_context, mail_server

ROOT = Path(__file__).resolve().parents[3]
T0 = at("2026-11-25 14:02")

# Sends what is in an outbox and kills itself, with no warning, at the step that is named.
SENDER = """
import os, pathlib, signal, smtplib, ssl, sys
from rules.digest.delivery import empty
from rules.digest.outbox import Outbox
from rules.digest.smtp import MailServer

path, port, authority, step = pathlib.Path(sys.argv[1]), int(sys.argv[2]), sys.argv[3], sys.argv[4]
now_ns = int(sys.argv[5])

def die():
    os.kill(os.getpid(), signal.SIGKILL)

class Fragile(Outbox):
    def move(self, post, state, now_ns, said=""):
        if step == f"before {state}":
            die()
        super().move(post, state, now_ns, said)
        if step == f"after {state}":
            die()

send = smtplib.SMTP.send
def fragile(self, data):
    data = data.encode() if isinstance(data, str) else data
    if step == "before the message" and b"Subject" in bytes(data):
        die()
    if step == "half of the message" and b"Subject" in bytes(data):
        send(self, data[:20])
        die()
    send(self, data)
smtplib.SMTP.send = fragile

outbox = Fragile(path)
server = MailServer("127.0.0.1", port, False, "line@site.example", ssl.create_default_context(cafile=authority))
empty(outbox, {"mail": server}, lambda: now_ns)
"""

CERTAINLY_NOT = ["before the message", "half of the message", "before handed over"]
MAYBE = ["after handed over", "before sent"]


def send_and_die(outbox: Path, port: int, step: str, folder: Path) -> None:
    authority = folder / "ca.pem"
    AUTHORITY.cert_pem.write_to_path(str(authority))
    ran = subprocess.run(
        [sys.executable, "-c", SENDER, str(outbox), str(port), str(authority), step, str(T0)],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        check=False,
        timeout=60,
    )
    assert ran.returncode == -signal.SIGKILL


def filled(path: Path) -> None:
    box = Outbox(path)
    for n in (1, 2):
        box.put(
            f"shift/{n}", [Letter("mail:a@site.example", f"<{n}@x>", b"Subject: %d\r\n\r\nhello\r\n" % n)], T0
        )
    box.close()


@pytest.mark.parametrize("step", [*CERTAINLY_NOT, *MAYBE, "after sent"])
def test_killed_at_any_step_nothing_is_sent_twice_and_nothing_is_lost_in_silence(
    tmp_path: Path, step: str
) -> None:
    path, letters = tmp_path / "outbox.db", Letters()
    filled(path)
    with mail_server(letters) as port:
        send_and_die(path, port, step, tmp_path)
        box = Outbox(path)
        carriers = {"mail": MailServer("127.0.0.1", port, False, "line@site.example", client_context())}
        empty(box, carriers, lambda: T0)
        doubted = [p.name for p in doubts(box, 0)]
        sent = [p.name for p in box.in_state(State.SENT)]
        box.close()
    subjects = [b.split(b"\r\n")[0] for b in letters.bodies]
    assert len(subjects) == len(set(subjects)), "twice"
    assert set(sent) | set(doubted) == {"<1@x>", "<2@x>"}
    assert doubted == (["<1@x>"] if step in MAYBE else [])
    arrived = {"before sent": 2, "after handed over": 1}.get(step, 2)
    assert len(subjects) == arrived
    assert subjects[-1] == b"Subject: 2"


def test_a_step_that_fails_leaves_the_outbox_usable(tmp_path: Path) -> None:
    """The disk is full just when the handing over is to be written: the message was not ended, so it was not taken."""
    from historian.errors import StoreFull

    class Full:
        def carry(self, post: Post, handing_over: Callable[[], None]) -> Outcome:
            return server.carry(post, full)

    def full() -> None:
        raise StoreFull("the disk is full")

    letters = Letters()
    filled(tmp_path / "outbox.db")
    box = Outbox(tmp_path / "outbox.db")
    with mail_server(letters) as port:
        server = MailServer("127.0.0.1", port, False, "line@site.example", client_context())
        (told,) = empty(box, {"mail": Full()}, lambda: T0)
        assert (told.outcome.fate, told.outcome.said) == (Fate.LATER, "the disk is full")
        assert letters.bodies == []
        assert {p.state for p in box.in_state(*State)} == {State.WAITING}
    box.close()
