"""A digest as a mail: plain text, the page, and its pictures travelling with it."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from datetime import UTC, datetime
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP

from historian.frame import NS
from rules.digest import words
from rules.digest.as_html import as_html, beside
from rules.digest.as_text import as_text
from rules.digest.content import Digest


def message_id(line: str, key: str, recipient: str, sender: str) -> str:
    """The Message-ID of a digest for a recipient: the same whenever it is made again.

    A recipient or a server that meets it twice can tell by it; so can a person who asks a server's log.

    Source: RFC 5322, 3.6.4.

    Example:
        >>> message_id("pilot", "shift/2026-11-25T05:00Z", "a@site.example", "line@site.example")
        '<digest.46cdbc59899ce1c4d9f4cc98@site.example>'
    """
    told = hashlib.sha256("\0".join((line, key, recipient)).encode()).hexdigest()[:24]
    return f"<digest.{told}@{sender.rpartition('@')[2]}>"


def mail_of(
    digest: Digest, pictures: Mapping[str, bytes], *, sender: str, recipient: str, made_ns: int
) -> bytes:
    """The whole message as it goes over the wire.

    Args:
        pictures: name of a picture → PNG.
        made_ns: for its Date, UTC nanoseconds.
    """
    message = EmailMessage(policy=SMTP)
    own = message_id(digest.line, digest.period.key, recipient, sender)
    message["From"] = Address(f"meltledger {digest.line}", addr_spec=sender)
    message["To"] = recipient
    message["Subject"] = f"{words.title(digest)}: {words.head_line(digest)}"
    message["Date"] = datetime.fromtimestamp(made_ns // NS, UTC)
    message["Message-ID"] = own
    message["Auto-Submitted"] = "auto-generated"  # RFC 3834: so that an absence note does not answer
    stem = own.strip("<>")
    names = {key: f"p{n}.{stem}" for n, key in enumerate(pictures)}
    message.set_content(as_text(digest), cte="quoted-printable")
    message.add_alternative(as_html(digest, beside(names)), subtype="html", cte="quoted-printable")
    page = list(message.iter_parts())[1]
    for n, (key, png) in enumerate(pictures.items()):
        own_id, name = f"<{names[key]}>", f"picture-{n + 1}.png"
        page.add_related(png, "image", "png", cid=own_id, disposition="inline", filename=name)
    return message.as_bytes()
