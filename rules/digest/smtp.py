"""Brings a digest to a mail server, over TLS and no other way.

The outbox hears of the handing over before the last dot of the message: what breaks off earlier was certainly
not taken, and what breaks off later is in doubt.

Source: RFC 5321, 4.1.1.4 (DATA), 4.2.1 (replies: 4yz may be tried again, 5yz may not), 4.5.2 (transparency);
RFC 3207 (STARTTLS); RFC 8314 (TLS from the start).
"""

from __future__ import annotations

import re
import smtplib
import ssl
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from typing import Final

from historian.errors import MeltledgerError
from rules.digest.delivery import Fate, Outcome
from rules.digest.outbox import Post

TIMEOUT_S: Final = 30.0


@dataclass(frozen=True, slots=True)
class MailServer:
    """A mail server and how one gets in.

    Attributes:
        host, port: of the server.
        tls_first: TLS from the start; otherwise STARTTLS, and without it nothing is sent.
        sender: address of the sender.
        context: whose certificates are believed.
        login: gives user and password when they are needed; None when the server asks for none. It raises
            one of our errors when they are not where they should be.
    """

    host: str
    port: int
    tls_first: bool
    sender: str
    context: ssl.SSLContext
    login: Callable[[], tuple[str, str]] | None = None

    def carry(self, post: Post, handing_over: Callable[[], None]) -> Outcome:
        """Bring one mail; see ``rules.digest.delivery.Carrier``."""
        over = _Over(handing_over)
        try:
            return self._carry(post, over)
        except smtplib.SMTPResponseException as error:
            # At the door, before any message was shown.
            return Outcome(
                Fate.LATER, f"{self.host}:{self.port}: {_reply(error.smtp_code, error.smtp_error)}"
            )
        except (OSError, smtplib.SMTPException) as error:
            where = f"{self.host}:{self.port}: {_words(error)}"
            if over.handed:
                return Outcome(Fate.DOUBT, f"{where}: the message was handed over, and no answer came")
            return Outcome(Fate.LATER, where)
        except MeltledgerError as error:
            return Outcome(Fate.LATER, str(error))

    def _carry(self, post: Post, over: _Over) -> Outcome:
        smtp = self._connected()
        try:
            outcome = self._send(smtp, post, over)
        except BaseException:
            smtp.close()
            raise
        # It was taken or it was not: how the parting goes changes nothing.
        with suppress(OSError, smtplib.SMTPException):
            smtp.quit()
        smtp.close()
        return outcome

    def _send(self, smtp: smtplib.SMTP, post: Post, over: _Over) -> Outcome:
        recipient = post.recipient.partition(":")[2]
        if self.login is not None:
            user, password = self.login()
            try:
                smtp.login(user, password)
            except smtplib.SMTPAuthenticationError as error:
                where = f"{self.host}:{self.port}"
                said = f"the login was refused ({_reply(error.smtp_code, error.smtp_error)})"
                return Outcome(Fate.LATER, f"{where}: {said}; correct user or password")
        code, answer = smtp.mail(self.sender)
        if code != 250:
            return Outcome(Fate.LATER, f"{self.sender} may not send here: {_reply(code, answer)}")
        code, answer = smtp.rcpt(recipient)
        if code not in (250, 251):
            return _of_reply(code, answer)
        code, answer = smtp.docmd("DATA")
        if code != 354:
            return _of_reply(code, answer)
        smtp.send(_dotted(post.body))
        over()
        smtp.send(b".\r\n")
        code, answer = smtp.getreply()
        return Outcome(Fate.SENT, _reply(code, answer)) if code == 250 else _of_reply(code, answer)

    def _connected(self) -> smtplib.SMTP:
        smtp: smtplib.SMTP
        if self.tls_first:
            smtp = smtplib.SMTP_SSL(self.host, self.port, timeout=TIMEOUT_S, context=self.context)
        else:
            smtp = smtplib.SMTP(self.host, self.port, timeout=TIMEOUT_S)
        try:
            smtp.ehlo_or_helo_if_needed()
            if self.tls_first:
                return smtp
            if not smtp.has_extn("starttls"):
                raise smtplib.SMTPException("the server offers no STARTTLS, and nothing is sent without it")
            smtp.starttls(context=self.context)
            smtp.ehlo_or_helo_if_needed()
        except BaseException:
            smtp.close()
            raise
        return smtp


class _Over:
    """Tells of the handing over, and remembers that it did."""

    def __init__(self, handing_over: Callable[[], None]) -> None:
        self._handing_over = handing_over
        self.handed = False

    def __call__(self) -> None:
        self._handing_over()
        self.handed = True


def _dotted(body: bytes) -> bytes:
    """The message with its lines ended by CR LF, and a dot before each dot that begins one."""
    lines = re.sub(rb"\r\n|\r|\n", b"\r\n", body)
    dotted = re.sub(rb"(?m)^\.", b"..", lines)
    return dotted if dotted.endswith(b"\r\n") else dotted + b"\r\n"


def _of_reply(code: int, said: bytes | str) -> Outcome:
    """What a reply other than "taken" means."""
    return Outcome(Fate.REFUSED if 500 <= code < 600 else Fate.LATER, _reply(code, said))


def _reply(code: int, said: bytes | str) -> str:
    text = said.decode("utf-8", "replace") if isinstance(said, bytes) else said
    return " ".join(f"{code} {text}".split())[:300]


def _words(error: Exception) -> str:
    if isinstance(error, ssl.SSLCertVerificationError):
        return (
            f"the server's certificate is not believed ({error.verify_message}); if the site has an "
            "authority of its own, name its certificate with [digest] ca"
        )
    if isinstance(error, TimeoutError):
        return "no answer in time"
    return str(getattr(error, "strerror", None) or error) or type(error).__name__
