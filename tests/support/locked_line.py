"""A simulated line behind certificates and names, whose lock a test can change while it serves."""

from __future__ import annotations

import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from asyncua.crypto.permission_rules import User, UserRole

from collector.opcua.access import Access
from collector.opcua.own import own_files
from collector.opcua.trust import TrustFolder
from simulator.opcua.security import Security
from tests.support.certificates import Signed
from tests.support.served_line import Elsewhere, served_elsewhere
from tests.support.small_line import SmallLine

LOGIN = ("reader", "correct horse battery")


@dataclass(frozen=True, slots=True)
class LockedLine:
    """The line.

    Attributes:
        served: the line in its own thread.
        security: its own certificate and the clients that it trusts.
    """

    served: Elsewhere
    security: Security

    @property
    def endpoint(self) -> str:
        return self.served.serving.endpoint

    def trust(self, access: Access) -> None:
        """Have the server accept our own certificate."""
        shutil.copy(own_files(access.folder)[0], self.security.trusted / f"{access.folder.name}.der")

    async def show(self, certificate: Signed) -> None:
        """Show another certificate from now on; every connection is broken."""
        self.security.certificate.write_bytes(certificate.der)
        self.security.key.write_bytes(certificate.key_pem)
        await self._again()

    async def renew(self) -> None:
        """Make another certificate and show it; every connection is broken."""
        await self.served.do(self.served.line.change_certificate())

    async def let_in(self, tokens: list[type], user_manager: object) -> None:
        """Take other logins from now on."""
        server = self.served.line.server
        server.set_identity_tokens(tokens)
        server.iserver.set_user_manager(user_manager)
        await self._again()

    async def _again(self) -> None:
        server = self.served.line.server

        async def deed() -> None:
            await server.load_certificate(self.security.certificate)
            await server.load_private_key(self.security.key)
            server.iserver.endpoints.clear()
            server._policies.clear()
            await server._setup_server_nodes()
            self.served.line.drop()

        await self.served.do(deed())


class Doors:
    """Lets in the user certificates that it holds, and nobody else; counts who knocked."""

    def __init__(self, *certificates: Signed) -> None:
        self._known = {c.der for c in certificates}

    def get_user(
        self,
        iserver: object,
        username: str | None = None,
        password: str | None = None,
        certificate: Any = None,
    ) -> User | None:
        return User(role=UserRole.User) if username is None and certificate in self._known else None


@contextmanager
def locked_line(
    folder: Path, *, anonymous: bool = False, policies: tuple[str, ...] | None = None
) -> Iterator[LockedLine]:
    """A line that is served until the end of the block."""
    options: dict[str, Any] = {} if policies is None else {"policies": policies}
    security = Security(folder / "server", users=dict([LOGIN]), anonymous=anonymous, **options)
    with served_elsewhere(SmallLine(), security=security) as served:
        yield LockedLine(served, security)


def give_own(folder: Path, certificate: Signed) -> None:
    """Put a pair where ours would be made; making one takes a while."""
    file, key = own_files(folder)
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_bytes(certificate.der)
    key.write_bytes(certificate.key_pem)
    key.chmod(0o600)


def accept_all(folder: Path) -> None:
    """Accept every certificate that waits, as a person would."""
    trust = TrustFolder(folder)
    for kept in trust.waiting():
        trust.accept(kept.certificate, time.time_ns())
