"""Digests posted to a real web server over TLS, and into a folder."""

from __future__ import annotations

import json
import ssl
from pathlib import Path
from typing import Any

import pytest

from rules.digest import as_json
from rules.digest.delivery import Fate, Outcome
from rules.digest.folder import Folder
from rules.digest.outbox import Post, State
from rules.digest.webhook import Webhook
from tests.rules.digest.told import a_full_digest
from tests.support.mail_server import Posted, client_context, web_server
from tests.support.ports import free_port

BODY = json.dumps(as_json(a_full_digest()), ensure_ascii=False).encode()


def carry(port: int, path: str = "/in?to=shop", **more: Any) -> tuple[Outcome, list[str]]:
    post = Post(
        1, "shift/1", f"post:https://127.0.0.1:{port}{path}", "digest.1@x", BODY, State.WAITING, 0, 0, 0, ""
    )
    over: list[str] = []
    outcome = Webhook(**{"context": client_context(), **more}).carry(post, lambda: over.append("handed over"))
    return outcome, over


def test_a_digest_is_posted_as_json() -> None:
    posted = Posted()
    with web_server(posted) as port:
        outcome, over = carry(port, token=lambda: "t0ken")
    assert (outcome.fate, over, posted.paths) == (Fate.SENT, ["handed over"], ["/in?to=shop"])
    assert json.loads(posted.bodies[0]) == as_json(a_full_digest())
    assert posted.headers[0]["Content-Type"] == "application/json; charset=utf-8"
    assert posted.headers[0]["Authorization"] == "Bearer t0ken"
    assert posted.headers[0]["Idempotency-Key"] == "digest.1@x"


@pytest.mark.parametrize(
    ("status", "fate"),
    [
        (200, Fate.SENT),
        (202, Fate.SENT),
        (302, Fate.REFUSED),
        (400, Fate.REFUSED),
        (404, Fate.REFUSED),
        (408, Fate.LATER),
        (429, Fate.LATER),
        (500, Fate.LATER),
        (503, Fate.LATER),
    ],
)
def test_what_the_answers_mean(status: int, fate: Fate) -> None:
    posted = Posted(answers=[status])
    with web_server(posted) as port:
        outcome, _ = carry(port)
    assert outcome.fate is fate and str(status) in outcome.said and len(posted.bodies) == 1


def test_no_answer_is_in_doubt() -> None:
    posted = Posted(answers=[0])
    with web_server(posted) as port:
        outcome, over = carry(port)
    assert outcome.fate is Fate.DOUBT and over and len(posted.bodies) == 1


def test_nobody_there_is_tried_later() -> None:
    outcome, over = carry(free_port())
    assert outcome.fate is Fate.LATER and not over


def test_a_server_that_is_not_believed_gets_nothing() -> None:
    posted = Posted()
    with web_server(posted) as port:
        outcome, over = carry(port, context=ssl.create_default_context())
    assert outcome.fate is Fate.LATER and "not believed" in outcome.said and not over and posted.bodies == []


def test_a_folder_gets_the_page_and_twice_is_once(tmp_path: Path) -> None:
    post = Post(
        1, "shift/1", f"file:{tmp_path / 'digests'}", "pilot.html", b"<p>", State.WAITING, 0, 0, 0, ""
    )
    for _ in range(2):
        assert Folder().carry(post, lambda: None).fate is Fate.SENT
    assert [p.name for p in (tmp_path / "digests").iterdir()] == ["pilot.html"]
    assert (tmp_path / "digests" / "pilot.html").read_bytes() == b"<p>"


def test_a_folder_that_cannot_be_written_is_tried_later(tmp_path: Path) -> None:
    (tmp_path / "digests").write_text("a file is in the way")
    post = Post(
        1, "shift/1", f"file:{tmp_path / 'digests'}", "pilot.html", b"<p>", State.WAITING, 0, 0, 0, ""
    )
    outcome = Folder().carry(post, lambda: None)
    assert outcome.fate is Fate.LATER and "check the folder" in outcome.said
