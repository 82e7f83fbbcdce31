"""A real mail server with real TLS on a port of its own, and a web server that takes what is posted."""

from __future__ import annotations

import asyncio
import ssl
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

import trustme
from aiosmtpd.smtp import SMTP, AuthResult, Envelope, LoginPassword, Session

AUTHORITY = trustme.CA()


def server_context() -> ssl.SSLContext:
    """The server's side of TLS, with a certificate for this host."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    AUTHORITY.issue_cert("127.0.0.1", "localhost").configure_cert(context)
    return context


def client_context() -> ssl.SSLContext:
    """A client that believes the server."""
    context = ssl.create_default_context()
    AUTHORITY.configure_trust(context)
    return context


@dataclass
class Letters:
    """What a mail server took, and how it answers.

    Attributes:
        bodies: each message as it came.
        answers: the answer to each message in turn; the last one goes on.
        refused: recipients that it does not know.
        encrypted: whether each message came over TLS.
    """

    bodies: list[bytes] = field(default_factory=list)
    recipients: list[list[str]] = field(default_factory=list)
    encrypted: list[bool] = field(default_factory=list)
    answers: list[str] = field(default_factory=lambda: ["250 2.0.0 taken"])
    refused: set[str] = field(default_factory=set)

    async def handle_RCPT(
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: Any
    ) -> str:
        if address in self.refused:
            return "550 5.1.1 nobody of that name"
        envelope.rcpt_tos.append(address)
        return "250 2.1.5 known"

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:
        answer = self.answers.pop(0) if len(self.answers) > 1 else self.answers[0]
        if answer.startswith("250"):
            self.bodies.append(envelope.original_content or b"")
            self.recipients.append(list(envelope.rcpt_tos))
            self.encrypted.append(session.ssl is not None)
        if answer == "hang up" or answer.endswith("and hang up"):
            server.transport.abort()
        return answer


@contextmanager
def mail_server(
    letters: Letters,
    *,
    tls_first: bool = False,
    offers_tls: bool = True,
    password: str | None = None,
    port: int = 0,
) -> Iterator[int]:
    """A mail server while it lasts; gives its port."""

    def check(server: SMTP, session: Session, envelope: Envelope, kind: str, given: Any) -> AuthResult:
        good = isinstance(given, LoginPassword) and given.password == (password or "").encode()
        return AuthResult(success=good, handled=False)

    more: dict[str, Any] = {"tls_context": server_context()} if offers_tls and not tls_first else {}
    if password is not None:
        more |= {"authenticator": check, "auth_required": True, "auth_require_tls": not tls_first}
    loop, stop, up = asyncio.new_event_loop(), asyncio.Event(), threading.Event()
    ports: list[int] = []

    async def serve() -> None:
        server = await loop.create_server(
            lambda: SMTP(letters, hostname="localhost", loop=loop, **more),
            "127.0.0.1",
            port,
            ssl=server_context() if tls_first else None,
        )
        ports.append(int(server.sockets[0].getsockname()[1]))
        up.set()
        await stop.wait()
        server.close()
        for task in asyncio.all_tasks() - {asyncio.current_task()}:
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)

    thread = threading.Thread(target=loop.run_until_complete, args=(serve(),), daemon=True)
    thread.start()
    try:
        assert up.wait(10)
        yield ports[0]
    finally:
        loop.call_soon_threadsafe(stop.set)
        thread.join(10)
        loop.close()


@dataclass
class Posted:
    """What a web server took, and how it answers: a status, or 0 to hang up after it took the request."""

    bodies: list[bytes] = field(default_factory=list)
    headers: list[dict[str, str]] = field(default_factory=list)
    paths: list[str] = field(default_factory=list)
    answers: list[int] = field(default_factory=lambda: [204])


@contextmanager
def web_server(posted: Posted) -> Iterator[int]:
    """A web server over TLS while it lasts; gives its port."""

    class Answers(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            posted.bodies.append(self.rfile.read(int(self.headers["Content-Length"])))
            posted.headers.append(dict(self.headers.items()))
            posted.paths.append(self.path)
            status = posted.answers.pop(0) if len(posted.answers) > 1 else posted.answers[0]
            if status == 0:
                self.close_connection = True
                return
            self.send_response(status)
            if status == 302:
                self.send_header("Location", "https://127.0.0.1:1/elsewhere")
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, format: str, *args: object) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Answers)
    server.socket = server_context().wrap_socket(server.socket, server_side=True)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield int(server.server_address[1])
    finally:
        server.shutdown()
        server.server_close()
        thread.join()
