"""Brings a digest to a web address: one HTTPS POST of JSON, with a name by which a second one could be told.

Redirects are not followed: a digest goes where the line's file says, and nowhere else.
"""

from __future__ import annotations

import http.client
import ssl
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final
from urllib.parse import urlsplit

from historian.errors import MeltledgerError
from rules.digest.delivery import Fate, Outcome
from rules.digest.outbox import Post

TIMEOUT_S: Final = 20.0

_AGAIN: Final = (408, 425, 429)
"""Answers of the 4xx kind that may be different later. Source: RFC 9110, 15.5; RFC 8470; RFC 6585."""


@dataclass(frozen=True, slots=True)
class Webhook:
    """How a web address is posted to.

    Attributes:
        context: whose certificates are believed.
        token: gives the bearer token when it is needed; None when none is. It raises one of our errors when
            it is not where it should be.
    """

    context: ssl.SSLContext
    token: Callable[[], str] | None = None

    def carry(self, post: Post, handing_over: Callable[[], None]) -> Outcome:
        """Post one digest; see ``rules.digest.delivery.Carrier``."""
        address = urlsplit(post.recipient.partition(":")[2])
        handed = False
        connection = http.client.HTTPSConnection(
            address.hostname or "", address.port or 443, timeout=TIMEOUT_S, context=self.context
        )
        try:
            headers = {
                "Content-Type": "application/json; charset=utf-8",
                "User-Agent": "meltledger",
                "Idempotency-Key": post.name,
            }
            if self.token is not None:
                headers["Authorization"] = f"Bearer {self.token()}"
            path = (address.path or "/") + (f"?{address.query}" if address.query else "")
            connection.putrequest("POST", path)
            for name, value in {**headers, "Content-Length": str(len(post.body))}.items():
                connection.putheader(name, value)
            connection.endheaders()
            connection.send(post.body[:-1])
            handing_over()
            handed = True
            # Without its last byte it is no request yet, and nobody can have taken it.
            connection.send(post.body[-1:])
            answer = connection.getresponse()
            return _outcome(answer.status, answer.reason)
        except (OSError, http.client.HTTPException, ValueError) as error:
            said = f"{address.hostname}: {_words(error)}"
            return Outcome(Fate.DOUBT if handed else Fate.LATER, said)
        except MeltledgerError as error:
            return Outcome(Fate.LATER, str(error))
        finally:
            connection.close()


def _outcome(status: int, reason: str) -> Outcome:
    said = f"{status} {reason}".strip()
    if 200 <= status < 300:
        return Outcome(Fate.SENT, said)
    if status in _AGAIN or status >= 500:
        return Outcome(Fate.LATER, said)
    return Outcome(Fate.REFUSED, said)


def _words(error: Exception) -> str:
    if isinstance(error, ssl.SSLCertVerificationError):
        return f"the server's certificate is not believed ({error.verify_message}); see [digest] ca"
    if isinstance(error, TimeoutError):
        return "no answer in time"
    return str(getattr(error, "strerror", None) or error) or type(error).__name__
