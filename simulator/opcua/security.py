"""Certificates and users of the simulated machine's server.

In the folder: ``own/`` with the server's key and certificate, made on first use; ``trusted/`` with the
certificates of the clients that it lets in, in DER form, looked at anew for each connection.
"""

from __future__ import annotations

import hmac
import os
import socket
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from asyncua import ua
from asyncua.common.utils import ServiceError
from asyncua.crypto.cert_gen import setup_self_signed_certificate
from asyncua.crypto.permission_rules import User, UserRole
from asyncua.crypto.validator import CertificateValidator, CertificateValidatorOptions
from asyncua.server.server import Server
from asyncua.server.user_managers import UserManager
from asyncua.ua.status_codes import StatusCodes
from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding
from cryptography.x509.oid import ExtendedKeyUsageOID

from historian.errors import StoreReadOnly, WrongInput

# Sign and SignAndEncrypt for each name; "None" is an endpoint without security.
_POLICIES: Mapping[str, tuple[ua.SecurityPolicyType, ...]] = {
    "None": (ua.SecurityPolicyType.NoSecurity,),
    "Basic256Sha256": (
        ua.SecurityPolicyType.Basic256Sha256_SignAndEncrypt,
        ua.SecurityPolicyType.Basic256Sha256_Sign,
    ),
    "Aes128_Sha256_RsaOaep": (
        ua.SecurityPolicyType.Aes128Sha256RsaOaep_SignAndEncrypt,
        ua.SecurityPolicyType.Aes128Sha256RsaOaep_Sign,
    ),
    "Aes256_Sha256_RsaPss": (
        ua.SecurityPolicyType.Aes256Sha256RsaPss_SignAndEncrypt,
        ua.SecurityPolicyType.Aes256Sha256RsaPss_Sign,
    ),
}
POLICIES = tuple(_POLICIES)


@dataclass(frozen=True, slots=True)
class Security:
    """How a server is secured.

    Attributes:
        folder: holds ``own/`` and ``trusted/``; made on first use.
        policies: names among ``POLICIES``.
        users: password by user name.
        anonymous: whether a client without a user name is let in.
    """

    folder: Path
    policies: tuple[str, ...] = POLICIES
    users: Mapping[str, str] = field(default_factory=dict, repr=False)
    anonymous: bool = True

    def __post_init__(self) -> None:
        wrong = [p for p in self.policies if p not in _POLICIES]
        if wrong or not self.policies:
            raise WrongInput(f"security policy {', '.join(wrong) or 'missing'}: name {', '.join(POLICIES)}")
        if not self.anonymous and not self.users:
            raise WrongInput("nobody could log in: give a user or let anonymous clients in")

    @property
    def certificate(self) -> Path:
        """The server's own certificate, DER."""
        return self.folder / "own" / "server.der"

    @property
    def key(self) -> Path:
        """The server's own key, PEM."""
        return self.folder / "own" / "server.pem"

    @property
    def trusted(self) -> Path:
        """Where the certificates of trusted clients are put."""
        return self.folder / "trusted"


async def arm(server: Server, security: Security) -> None:
    """Give a server that does not listen yet its certificate, policies and users."""
    try:
        for folder in (security.certificate.parent, security.trusted):
            folder.mkdir(parents=True, exist_ok=True)
        await _own(server, security)
    except OSError as error:
        raise StoreReadOnly(
            f"{security.folder}: certificates cannot be kept there ({error}); name another folder"
        ) from error
    server.set_security_policy([kind for name in security.policies for kind in _POLICIES[name]])
    tokens: list[type] = [ua.AnonymousIdentityToken] if security.anonymous else []
    server.set_identity_tokens([*tokens, *([ua.UserNameIdentityToken] if security.users else [])])
    server.set_certificate_validator(_Doorkeeper(security.trusted))
    server.iserver.set_user_manager(_Users(security))


async def new_certificate(server: Server, security: Security) -> None:
    """Make another key and certificate, and show them to whoever connects from now on."""
    security.key.unlink(missing_ok=True)
    security.certificate.unlink(missing_ok=True)
    await _own(server, security)
    # The library sets endpoints up once, at the start, and has no public way to do it again.
    server.iserver.endpoints.clear()
    server._policies.clear()  # noqa: SLF001
    await server._setup_server_nodes()  # noqa: SLF001


async def _own(server: Server, security: Security) -> None:
    await setup_self_signed_certificate(
        security.key,
        security.certificate,
        server.get_application_uri(),
        socket.gethostname(),
        [ExtendedKeyUsageOID.SERVER_AUTH],
        {"organizationName": "Simulated"},
    )
    os.chmod(security.key, 0o600)
    await server.load_certificate(security.certificate)
    await server.load_private_key(security.key)


class _Doorkeeper:
    """Lets in a client whose very certificate lies in the trust folder."""

    def __init__(self, trusted: Path) -> None:
        self._trusted = trusted
        self._form = CertificateValidator(
            CertificateValidatorOptions.TIME_RANGE | CertificateValidatorOptions.URI
        )

    async def __call__(self, certificate: x509.Certificate, client: ua.ApplicationDescription) -> None:
        shown = certificate.public_bytes(Encoding.DER)
        if all(file.read_bytes() != shown for file in sorted(self._trusted.glob("*.der"))):
            raise ServiceError(StatusCodes.BadCertificateUntrusted)
        await self._form.validate(certificate, client)


class _Users(UserManager):
    """Who may log in; everybody may read, nobody may write."""

    def __init__(self, security: Security) -> None:
        self._security = security

    def get_user(
        self,
        iserver: object,
        username: str | None = None,
        password: str | None = None,
        certificate: Any = None,
    ) -> User | None:
        """The user of a login; None when it is refused."""
        if username is None:
            return User(role=UserRole.User) if self._security.anonymous else None
        expected = self._security.users.get(username)
        given = (password or "").encode()
        if expected is None or not hmac.compare_digest(expected.encode(), given):
            return None
        return User(role=UserRole.User, name=username)
