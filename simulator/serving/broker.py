"""Where an MQTT broker is and how to log in there."""

from __future__ import annotations

import ssl
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from socket import socket
from typing import Any, Literal
from urllib.parse import unquote, urlsplit

from historian.errors import WrongInput

Version = Literal["3.1.1", "5"]
_PORTS = {"mqtt": 1883, "mqtts": 8883}


@dataclass(frozen=True, slots=True)
class Broker:
    """An MQTT broker.

    Attributes:
        host, port: where.
        tls: whether the connection is encrypted and the broker's certificate checked.
        user, password: to log in with; None: nobody asks.
        ca_file: certificates to check the broker's against; None: those of the system.
        version: of the protocol.
        keepalive_s: a broker that is silent for one and a half times this long counts as away.
        server_name: whose certificate it must show over TLS; None: the host's.
    """

    host: str
    port: int
    tls: bool = False
    user: str | None = None
    password: str | None = field(default=None, repr=False)
    ca_file: Path | None = None
    version: Version = "3.1.1"
    keepalive_s: int = 10
    server_name: str | None = None

    def __str__(self) -> str:
        return f"{'mqtts' if self.tls else 'mqtt'}://{self.host}:{self.port}"

    def tls_context(self) -> ssl.SSLContext:
        """What a TLS connection is checked with.

        Raises:
            WrongInput: the file of certificates cannot be read.
        """
        try:
            context = ssl.create_default_context(cafile=self.ca_file)
        except OSError as error:
            raise WrongInput(
                f"{self.ca_file}: no certificates can be read there ({error}); name a PEM file of the "
                "authority that signed the broker's certificate"
            ) from error
        if self.server_name is not None:
            wrap = partial(_wrap_for, context.wrap_socket, self.server_name)
            context.wrap_socket = wrap  # type: ignore[method-assign]
        return context


def _wrap_for(wrap: Callable[..., ssl.SSLSocket], name: str, sock: socket, **options: Any) -> ssl.SSLSocket:
    """Encrypt a connection to a server of that name, by whatever address it was reached.

    The MQTT library takes the address for the name, which is wrong behind a relay.
    """
    return wrap(sock, **{**options, "server_hostname": name})


def broker_at(
    address: str,
    *,
    password_file: Path | None = None,
    ca_file: Path | None = None,
    version: Version = "3.1.1",
) -> Broker:
    """The broker at an address such as ``mqtt://user@host:1883`` or ``mqtts://host``.

    A password belongs in a file, not in the address: other users of the machine see command lines.

    Raises:
        WrongInput: for an address of another form, or a password file that cannot be read.

    Example:
        >>> str(broker_at("mqtts://line@broker.example"))
        'mqtts://broker.example:8883'
    """
    try:
        parts = urlsplit(address)
        port = parts.port
    except ValueError as error:
        raise WrongInput(f"{address}: not a broker's address ({error}); write mqtt://HOST:1883") from error
    if parts.scheme not in _PORTS or not parts.hostname or parts.path.strip("/") or parts.query:
        raise WrongInput(f"{_shown(address)}: write mqtt://HOST:1883, or mqtts://HOST:8883 for TLS")
    if ca_file is not None and parts.scheme != "mqtts":
        raise WrongInput(f"{_shown(address)}: a file of certificates is for mqtts:// addresses only")
    password = unquote(parts.password) if parts.password else None
    if password_file is not None:
        try:
            password = password_file.read_text(encoding="utf-8").rstrip("\r\n")
        except OSError as error:
            raise WrongInput(f"{password_file}: the password cannot be read ({error.strerror})") from error
    return Broker(
        parts.hostname,
        port or _PORTS[parts.scheme],
        parts.scheme == "mqtts",
        unquote(parts.username) if parts.username else None,
        password,
        ca_file,
        version,
    )


def _shown(address: str) -> str:
    """The address without what stands before an @: it may hold a password."""
    scheme, _, rest = address.partition("://")
    return f"{scheme}://{rest.rpartition('@')[2]}" if rest else address
