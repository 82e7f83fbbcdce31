"""A broker's address and how to come in."""

from __future__ import annotations

import ssl
from dataclasses import dataclass
from pathlib import Path
from typing import Literal
from urllib.parse import urlsplit

from collector.errors import SourceRefused
from collector.secret import Secret
from historian.errors import WrongInput

PLAIN_PORT, TLS_PORT = 1883, 8883


@dataclass(frozen=True, slots=True)
class Broker:
    """Where a broker is, who we are to it, and what it may send at once.

    Attributes:
        host, port: where it listens.
        tls: whether the connection is encrypted; the host's name in its certificate is then checked.
        ca: PEM file of the authorities that are trusted instead of the system's.
        certificate, key: PEM files of our own certificate, for brokers that ask for one.
        user, password: login; the password is read when it is needed, and never kept.
        version: of the protocol.
        client_id: our name; the same after each start, because the broker keeps the session under it.
        keepalive_s: how often the connection shows that it lives.
        session_s: how long the broker keeps the session while we are away; 0 for none kept.
        window: messages of QoS 1 that the broker may send before the first is acknowledged.
        largest_byte: a larger message is not read.
    """

    host: str
    port: int
    client_id: str
    tls: bool = False
    ca: Path | None = None
    certificate: Path | None = None
    key: Path | None = None
    user: str | None = None
    password: Secret | None = None
    version: Literal["3.1.1", "5"] = "5"
    keepalive_s: int = 15
    session_s: int = 86_400
    window: int = 1000
    largest_byte: int = 1_048_576

    def __str__(self) -> str:
        return f"{'mqtts' if self.tls else 'mqtt'}://{self.host}:{self.port}"

    def tls_context(self) -> ssl.SSLContext:
        """What the encrypted connection is checked with.

        Raises:
            SourceRefused: a file cannot be read; naming it.
        """
        for file in (self.ca, self.certificate, self.key):
            if file is not None and not file.is_file():
                raise SourceRefused(f"{self}: there is no file {file}; put it there, or correct its name")
        try:
            context = ssl.create_default_context(cafile=self.ca)
            context.sslsocket_class = _ClosedOnFailure
            if self.certificate is not None:
                context.load_cert_chain(self.certificate, self.key)
        except (OSError, ssl.SSLError) as error:
            raise SourceRefused(
                f"{self}: the certificate files cannot be used ({error}); they must be PEM, and the key must "
                "belong to the certificate"
            ) from error
        return context


class _ClosedOnFailure(ssl.SSLSocket):
    """The library lets go of a connection whose handshake fails without closing it."""

    def do_handshake(self, block: bool = False) -> None:
        """As the standard library's; closes when it fails."""
        try:
            super().do_handshake(block)
        except BaseException:
            self.close()
            raise


def address_of(text: str) -> tuple[str, int, bool]:
    """Host, port and whether it is encrypted, of an address such as ``mqtts://broker.site.example:8883``.

    Raises:
        WrongInput: it is none; what is wrong is not repeated where it may hold a password.

    Example:
        >>> address_of("mqtt://10.0.4.2")
        ('10.0.4.2', 1883, False)
    """
    parts = urlsplit(text)
    if parts.username is not None or parts.password is not None:
        raise WrongInput("no user or password in the address; give user, and password_env or password_file")
    try:
        port = parts.port
    except ValueError:
        port = -1
    if parts.scheme not in ("mqtt", "mqtts") or not parts.hostname or parts.path.strip("/") or port == -1:
        raise WrongInput("not the address of a broker; write mqtt://HOST:PORT or mqtts://HOST:PORT")
    tls = parts.scheme == "mqtts"
    return parts.hostname, port or (TLS_PORT if tls else PLAIN_PORT), tls
