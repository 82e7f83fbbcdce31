"""Mails over a real server with real TLS: taken, refused, put off, broken off, and away and back again."""

from __future__ import annotations

import ssl
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from historian.errors import WrongInput
from historian.frame import NS
from rules.digest.delivery import Fate, Outcome, empty
from rules.digest.mail import mail_of
from rules.digest.outbox import Letter, Outbox, Post, State
from rules.digest.smtp import MailServer
from tests.rules.digest.told import a_full_digest, at
from tests.support.mail_server import Letters, client_context, mail_server
from tests.support.ports import free_port

T0 = at("2026-11-25 14:02")
TO = "maintenance@site.example"
BODY = b"Subject: x\r\n\r\n.hidden dot\r\n..two\r\nlast"


@pytest.fixture
def letters() -> Letters:
    return Letters()


def post(body: bytes = BODY) -> Post:
    return Post(1, "shift/1", f"mail:{TO}", "<1@site.example>", body, State.WAITING, 0, 0, 0, "")


def server_at(port: int, *, tls_first: bool = False, login: Any = None, context: Any = None) -> MailServer:
    own = context or client_context()
    return MailServer("127.0.0.1", port, tls_first, "line@site.example", own, login)


def carry(port: int, **more: Any) -> tuple[Outcome, list[str]]:
    """Carry one mail; gives what became of it, and whether it was told that it was handed over."""
    over: list[str] = []
    outcome = server_at(port, **more).carry(post(), lambda: over.append("handed over"))
    return outcome, over


@pytest.mark.parametrize("tls_first", [False, True])
def test_a_mail_is_taken_over_tls(letters: Letters, tls_first: bool) -> None:
    with mail_server(letters, tls_first=tls_first) as port:
        outcome, over = carry(port, tls_first=tls_first)
    assert outcome == Outcome(Fate.SENT, "250 2.0.0 taken") and over == ["handed over"]
    assert letters.encrypted == [True] or tls_first
    assert letters.recipients == [[TO]]
    assert letters.bodies[0] == BODY + b"\r\n", "dots come through as they are"


def test_a_whole_digest_arrives_byte_for_byte(letters: Letters) -> None:
    body = mail_of(
        a_full_digest(), {"x": bytes(range(256)) * 40}, sender="line@site.example", recipient=TO, made_ns=T0
    )
    with mail_server(letters) as port:
        assert server_at(port).carry(post(body), lambda: None).fate is Fate.SENT
    assert letters.bodies == [body]


def test_with_user_and_password(letters: Letters) -> None:
    with mail_server(letters, password="right") as port:
        assert carry(port, login=lambda: ("line", "right"))[0].fate is Fate.SENT
        wrong, over = carry(port, login=lambda: ("line", "wr0ng"))
        without, _ = carry(port)
    assert wrong.fate is Fate.LATER and "the login was refused" in wrong.said and not over
    assert "wr0ng" not in wrong.said
    assert without.fate is Fate.LATER and "may not send here" in without.said
    assert len(letters.bodies) == 1


def test_a_password_that_is_not_there_is_told_and_the_mail_waits(letters: Letters) -> None:
    def login() -> tuple[str, str]:
        raise WrongInput("the environment variable SMTP_PASSWORD is not set")

    with mail_server(letters, password="right") as port:
        outcome, _ = carry(port, login=login)
    assert outcome == Outcome(Fate.LATER, "the environment variable SMTP_PASSWORD is not set")


def test_without_tls_nothing_is_sent(letters: Letters) -> None:
    with mail_server(letters, offers_tls=False) as port:
        outcome, over = carry(port, login=lambda: ("line", "secret"))
    assert outcome.fate is Fate.LATER and "offers no STARTTLS" in outcome.said
    assert letters.bodies == [] and not over


@pytest.mark.parametrize("tls_first", [False, True])
def test_a_server_that_is_not_believed_gets_nothing(letters: Letters, tls_first: bool) -> None:
    with mail_server(letters, tls_first=tls_first) as port:
        outcome, over = carry(port, tls_first=tls_first, context=ssl.create_default_context())
    assert (
        outcome.fate is Fate.LATER
        and "certificate is not believed" in outcome.said
        and "[digest] ca" in outcome.said
    )
    assert letters.bodies == [] and not over


@pytest.mark.parametrize(
    ("answer", "fate"),
    [
        ("451 4.7.1 try later", Fate.LATER),
        ("554 5.7.1 no", Fate.REFUSED),
        ("552 5.3.4 too big", Fate.REFUSED),
    ],
)
def test_what_the_server_answers_to_the_message(letters: Letters, answer: str, fate: Fate) -> None:
    letters.answers = [answer]
    with mail_server(letters) as port:
        assert carry(port)[0] == Outcome(fate, answer)


def test_a_recipient_that_is_not_known_is_refused(letters: Letters) -> None:
    letters.refused = {TO}
    with mail_server(letters) as port:
        outcome, over = carry(port)
    assert outcome == Outcome(Fate.REFUSED, "550 5.1.1 nobody of that name") and not over


def test_no_answer_after_the_last_dot_is_in_doubt(letters: Letters) -> None:
    letters.answers = ["250 and hang up"]
    with mail_server(letters) as port:
        outcome, over = carry(port)
    assert outcome.fate is Fate.DOUBT and over == ["handed over"] and len(letters.bodies) == 1


def test_nobody_there_is_tried_later() -> None:
    outcome, over = carry(free_port())
    assert outcome.fate is Fate.LATER and "refused" in outcome.said and not over


@pytest.fixture
def outbox(tmp_path: Path) -> Iterator[Outbox]:
    box = Outbox(tmp_path / "outbox.db")
    yield box
    box.close()


def test_a_server_that_was_away_gets_all_in_order_once_when_it_is_back(
    outbox: Outbox, letters: Letters
) -> None:
    port, now = free_port(), T0
    for n in range(3):
        outbox.put(f"shift/{n}", [Letter(f"mail:{TO}", f"<{n}@x>", b"Subject: %d\r\n\r\n" % n)], now)
    carriers = {"mail": server_at(port)}
    assert [t.outcome.fate for t in empty(outbox, carriers, lambda: now)] == [Fate.LATER]
    assert empty(outbox, carriers, lambda: now) == [], "not before its pause is over"
    with mail_server(letters, port=port):
        now += 60 * NS
        for _ in range(2):
            empty(outbox, carriers, lambda: now)
    assert [b.split(b"\r\n")[0] for b in letters.bodies] == [b"Subject: 0", b"Subject: 1", b"Subject: 2"]
    assert {p.state for p in outbox.in_state(*State)} == {State.SENT}
