"""The mail as a mail program reads it, and a Message-ID that stays."""

from __future__ import annotations

import email
from email.message import EmailMessage
from email.policy import SMTP

import pytest

from rules.digest import as_html, as_text, pictures_of
from rules.digest.as_html import beside
from rules.digest.mail import mail_of, message_id
from tests.rules.digest.told import Told, a_full_digest, at

TO = {
    "sender": "line@site.example",
    "recipient": "maintenance@site.example",
    "made_ns": at("2026-11-25 14:02"),
}


def read(body: bytes) -> EmailMessage:
    message = email.message_from_bytes(body, policy=SMTP)
    assert isinstance(message, EmailMessage) and not message.defects
    return message


def test_a_mail_with_text_page_and_pictures() -> None:
    digest = a_full_digest()
    pictures = {w.key: b"\x89PNG " + w.key.encode() for w in pictures_of(digest)}
    message = read(mail_of(digest, pictures, **TO))  # type: ignore[arg-type]
    assert str(message["From"]) == "meltledger pilot-2 <line@site.example>"
    assert str(message["To"]) == "maintenance@site.example"
    assert str(message["Subject"]) == "pilot-2, shift 25 Nov 06:00+01:00: 3 parts need hands, first: now"
    assert str(message["Date"]) == "Wed, 25 Nov 2026 13:02:00 +0000"
    assert message["Auto-Submitted"] == "auto-generated"
    text, page = message.get_body(("plain",)), message.get_body(("html",))
    assert text is not None and page is not None
    assert text.get_content().replace("\r\n", "\n") == as_text(digest)
    images = [p for p in message.walk() if p.get_content_type() == "image/png"]
    names = {key: str(i["Content-ID"]).strip("<>") for key, i in zip(pictures, images, strict=True)}
    assert [i.get_filename() for i in images] == [f"picture-{n}.png" for n in (1, 2, 3, 4)]
    assert [i.get_content() for i in images] == list(pictures.values())
    assert page.get_content().replace("\r\n", "\n") == as_html(digest, beside(names))
    assert len(set(names.values())) == 4


def test_it_goes_over_any_server() -> None:
    """Seven bits, and lines of 998 at most. Source: RFC 5321, 4.5.3.1.6; RFC 5322, 2.1.1."""
    told = Told()
    told.spell("2026-11-25 08:00", None, sentence="Öl läuft. " + "ä" * 3000)
    body = mail_of(told.digest(), {}, **TO)  # type: ignore[arg-type]
    assert body.isascii() and max(len(line) for line in body.split(b"\r\n")) <= 998
    assert b"\n" not in body.replace(b"\r\n", b"")


def test_words_of_others_make_no_headers() -> None:
    told = Told()
    told.spell("2026-11-25 08:00", None, sentence="x\r\nBcc: all@site.example")
    message = read(mail_of(told.digest(), {}, **TO))  # type: ignore[arg-type]
    assert message["Bcc"] is None and message.get_all("To") == ["maintenance@site.example"]


def test_the_message_id_is_the_same_for_the_same_digest_and_recipient_alone() -> None:
    first = message_id("pilot", "shift/a", "x@site.example", "line@site.example")
    assert first == message_id("pilot", "shift/a", "x@site.example", "line@site.example")
    others = [
        ("pilot", "shift/b", "x@site.example"),
        ("pilot", "shift/a", "y@site.example"),
        ("p", "ilotshift/a", "x@site.example"),
    ]
    assert first not in [message_id(*o, "line@site.example") for o in others]
    assert first.endswith("@site.example>")


@pytest.mark.parametrize("later", ["2026-11-25 14:02", "2026-11-26 09:00"])
def test_made_again_it_bears_the_same_message_id(later: str) -> None:
    made = read(mail_of(a_full_digest(), {}, **{**TO, "made_ns": at(later)}))  # type: ignore[arg-type]
    assert made["Message-ID"] == message_id(
        "pilot-2", "shift/2026-11-25T05:00Z", "maintenance@site.example", "line@site.example"
    )
