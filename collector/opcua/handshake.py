"""From an endpoint to an open session: the server's certificate is judged before anything is told to it."""

from __future__ import annotations

import asyncio
from dataclasses import replace

from asyncua import ua
from asyncua.client.client import Client
from asyncua.ua.uaerrors import UaError, UaStatusCodeError
from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.serialization import Encoding

from collector.clock import Clock
from collector.errors import SourceAway, SourceRefused
from collector.opcua.access import Access
from collector.opcua.certificate import Certificate, read_certificates
from collector.opcua.identity import Anonymous, UserCertificate, UserName
from collector.opcua.judgement import Server
from collector.opcua.own import Own, application_uri
from collector.opcua.security import KEEPS_SECRETS, pick_endpoint, refusal
from historian.errors import MeltledgerError, WrongInput

_KINDS = {
    ua.UserTokenType.Anonymous: "nobody in particular",
    ua.UserTokenType.UserName: "user names",
    ua.UserTokenType.Certificate: "user certificates",
    ua.UserTokenType.IssuedToken: "issued tokens",
}


class GuardedClient(Client):
    """The library's client, but a secret leaves it only so that the server alone can read it."""

    def server_policy(self, token_type: ua.UserTokenType) -> ua.UserTokenPolicy:
        """How the server wants to be told who we are.

        Raises:
            SourceRefused: it does not take such a login at all, or only where others could read along.
        """
        if token_type == ua.UserTokenType.Anonymous:
            return super().server_policy(token_type)
        where = self.server_url.geturl()
        policies = [p for p in self._policy_ids if p.TokenType == token_type]
        if not policies:
            takes = {_KINDS.get(p.TokenType, "something else") for p in self._policy_ids} or {"nobody"}
            raise SourceRefused(
                f"{where} takes no {_KINDS[token_type]}; it takes {', '.join(sorted(takes))}. Remedy: "
                "correct the login in the line's file, or switch it on at the server"
            )
        own = self.security_policy
        for policy in policies:
            uri = policy.SecurityPolicyUri or own.URI
            if uri in KEEPS_SECRETS and own.peer_certificate:
                return replace(policy, SecurityPolicyUri=uri)
        if token_type == ua.UserTokenType.UserName and own.Mode == ua.MessageSecurityMode.SignAndEncrypt:
            return policies[0]
        if token_type == ua.UserTokenType.Certificate and own.URI in KEEPS_SECRETS:
            return replace(policies[0], SecurityPolicyUri=own.URI)
        raise SourceRefused(
            f"{where} would have the login sent so that others could read or repeat it; it is not sent. "
            "Remedy: choose a security with SignAndEncrypt"
        )


async def shake_hands(
    client: GuardedClient, endpoint: str, access: Access, clock: Clock
) -> tuple[tuple[str, Certificate], ...]:
    """Open a session as the line's file says; gives the certificates in use, and whose they are.

    Raises:
        SourceRefused: it cannot work until somebody changes something; telling what.
        SourceAway: the server broke off.
        OSError, UaError, TimeoutError: as the library's, when nothing better can be said.
    """
    client.name = client.description = "meltledger"
    client.product_uri = "urn:meltledger"
    client.application_uri = application_uri(access.line)
    papers: list[tuple[str, Certificate]] = []
    own: Own | None = None
    if access.needs_trust:
        offered = await client.connect_and_get_server_endpoints()
        chosen = pick_endpoint(offered, access.security, endpoint)
        chain = _shown(chosen.ServerCertificate, endpoint)
        await _believe(chain, endpoint, chosen.Server, access, clock)
        papers.append(("the server's certificate", chain[0]))
        if access.security.is_secured:
            own = await asyncio.to_thread(access.own, clock.now_ns())
            papers.append(("our own certificate", own.certificate))
            _secure(client, access, own, chain[0])

        async def validator(shown: x509.Certificate, application: ua.ApplicationDescription) -> None:
            # What stood in the first answer, anybody between could have written; this is what counts.
            again = _shown(shown.public_bytes(Encoding.DER), endpoint)
            await _believe((*again, *chain[1:]), endpoint, application, access, clock)

        client.certificate_validator = validator
    papers += await asyncio.to_thread(_lend, client, access)
    await _connect(client, endpoint, access, own)
    return tuple(papers)


async def _connect(client: GuardedClient, endpoint: str, access: Access, own: Own | None) -> None:
    """Connect, and say a refusal in our words."""
    ours = str(own.file) if own is not None else ""
    try:
        await client.connect()
    except UaStatusCodeError as error:
        refused = refusal(error, endpoint, access.identity, ours)
        if refused is None:
            raise
        raise refused from error
    except InvalidSignature as error:
        raise SourceRefused(
            f"{endpoint} cannot prove that it has the key of its certificate; somebody may be between. "
            "Remedy: ask who looks after the machine and the network"
        ) from error
    except UaError as error:
        if access.security.is_secured or "No matching endpoints" not in str(error):
            raise
        pick_endpoint(await client.connect_and_get_server_endpoints(), access.security, endpoint)
        raise
    except (OSError, TimeoutError) as error:
        if own is None:
            raise
        # It answered when it was asked for its endpoints. Servers tell strangers nothing, some not even no.
        raise SourceAway(
            f"{endpoint} broke off when the secured connection was to be made; most often it has not "
            f"accepted our own certificate {ours} (thumbprint {own.certificate.thumbprint}) yet"
        ) from error
    except MeltledgerError:
        raise
    except Exception as error:
        # Neither its words nor its traceback go into a log: a password may stand in them.
        raise SourceAway(
            f"{endpoint}: its answer in the handshake could not be read ({type(error).__name__})"
        ) from None


def _secure(client: GuardedClient, access: Access, own: Own, server: Certificate) -> None:
    client.application_uri = own.uri
    policy = access.security.library_policy(
        x509.load_der_x509_certificate(server.der),
        x509.load_der_x509_certificate(own.certificate.der),
        own.key,
        access.security.library_mode,
    )
    client.security_policy = policy  # type: ignore[assignment]  # declared too narrowly there
    client.uaclient.set_security(policy)


def _lend(client: GuardedClient, access: Access) -> list[tuple[str, Certificate]]:
    """Give the client what it needs to log in; gives the user's certificate, if it is one."""
    match access.identity:
        case UserName(name, password):
            client.set_user(name)
            client.set_password(password.read())
        case UserCertificate() as identity:
            user = identity.load()
            client.user_certificate = x509.load_der_x509_certificate(user.certificate.der)
            client.user_private_key = user.key
            return [("the user certificate", user.certificate)]
        case Anonymous():
            pass
    return []


async def _believe(
    shown: tuple[Certificate, ...],
    endpoint: str,
    application: ua.ApplicationDescription,
    access: Access,
    clock: Clock,
) -> None:
    server = Server(endpoint, str(application.ApplicationUri or ""))
    await asyncio.to_thread(access.check, shown, server, clock.now_ns())


def _shown(der: bytes | None, endpoint: str) -> tuple[Certificate, ...]:
    """What a server shows of itself; its own certificate, then its issuers'."""
    if not der:
        raise SourceRefused(
            f"{endpoint} shows no certificate, so nobody can tell who it is, and no secret can be sent to "
            "it. Remedy: give the server one, or connect without security and without a login"
        )
    try:
        return read_certificates(der, endpoint)
    except WrongInput as error:
        raise SourceRefused(
            f"{endpoint} shows something that cannot be read as a certificate. Remedy: give the server "
            "a new one"
        ) from error
