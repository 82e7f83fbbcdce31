"""Whether a server's certificate is to be believed: no clock, no disk, no network in here."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum

from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding
from cryptography.x509 import verification as v

from collector.opcua.certificate import Certificate, day, plain
from collector.opcua.own import KEY_BITS
from historian.frame import NS


class Doubt(StrEnum):
    """Why a certificate is not believed."""

    WEAK = "weak"
    EXPIRED = "expired"
    WRONG_NAME = "wrong-name"
    REVOKED = "revoked"
    CHANGED = "changed"  # another one was accepted for the same server
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Server:
    """Who shows a certificate.

    Attributes:
        endpoint: where it was met.
        application: the application URI that it goes by.
    """

    endpoint: str
    application: str


@dataclass(frozen=True, slots=True)
class Revoked:
    """A list of certificates that an authority has called back.

    Attributes:
        issuer: name of the authority, DER.
        serials: numbers of the certificates.
    """

    issuer: bytes
    serials: frozenset[int]


@dataclass(frozen=True, slots=True)
class Trusted:
    """What a person has accepted.

    Attributes:
        certificates: of servers, and of authorities.
        met: thumbprint → the server that showed it.
        revoked: lists of what was called back.
        unreadable: files that were to say more but cannot be read.
    """

    certificates: tuple[Certificate, ...] = ()
    met: Mapping[str, Server] | None = None
    revoked: tuple[Revoked, ...] = ()
    unreadable: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Verdict:
    """Why not, and in which words.

    Attributes:
        doubt: the kind.
        text: what is wrong with it, for a person.
    """

    doubt: Doubt
    text: str

    @property
    def to_accept(self) -> bool:
        """Whether accepting the certificate would help."""
        return self.doubt in (Doubt.CHANGED, Doubt.UNKNOWN)


def judge(shown: Sequence[Certificate], server: Server, trusted: Trusted, now_ns: int) -> Verdict | None:
    """Why a server's certificate is not believed; None when it is.

    It is believed when it lies among the trusted ones itself, or when a trusted authority has issued it. Key
    usages are not asked for, because certificates of real machines often lack them; nor is the host's name,
    because machines are moved: which one it is, the certificate alone says.

    Args:
        shown: the certificate, then those of its issuers that the server sent with it.
        server: who shows it.
        trusted: what was accepted.
        now_ns: UTC nanoseconds.
    """
    certificate = shown[0]
    if (text := unfit(certificate, now_ns)) is not None:
        return Verdict(*text)
    if certificate.uris and server.application not in certificate.uris:
        return Verdict(
            Doubt.WRONG_NAME,
            f"it names the application {plain(', '.join(certificate.uris))}, and the server calls itself "
            f"{plain(server.application)}; give the server a certificate of its own",
        )
    path = _path(shown, trusted, now_ns)
    if path is None:
        return _stranger(certificate, server, trusted)
    for link in path:
        if _is_revoked(link, trusted):
            return Verdict(
                Doubt.REVOKED,
                f"its authority has called back {link}; give the server another certificate",
            )
    return None


def unfit(certificate: Certificate, now_ns: int) -> tuple[Doubt, str] | None:
    """What keeps a certificate from being used at all, whoever accepts it; None when nothing does."""
    if certificate.key_bits is None or certificate.key_bits < KEY_BITS:
        has = "no RSA key" if certificate.key_bits is None else f"a key of {certificate.key_bits} bits"
        return Doubt.WEAK, f"it has {has}; give the server one with an RSA key of at least {KEY_BITS} bits"
    if not certificate.starts_ns <= now_ns <= certificate.ends_ns:
        past = f"it expired on {day(certificate.ends_ns)}"
        early = f"it is not valid before {day(certificate.starts_ns)}"
        return (
            Doubt.EXPIRED,
            f"{past if now_ns > certificate.ends_ns else early}, and this computer's clock says "
            f"{day(now_ns)}; when the clock is right, renew the certificate at the server",
        )
    return None


def vouches(certificate: Certificate) -> bool:
    """Whether trusting it means trusting what it has issued.

    One that names an application vouches for itself only: many servers write into their own certificate
    that it were an authority's.
    """
    return certificate.is_authority and not certificate.uris


def _stranger(certificate: Certificate, server: Server, trusted: Trusted) -> Verdict:
    met = trusted.met or {}
    before = [
        c
        for c in trusted.certificates
        if not vouches(c)
        and (
            (server.application and server.application in c.uris)
            or (c.thumbprint in met and met[c.thumbprint].endpoint == server.endpoint)
        )
    ]
    if not before:
        return Verdict(Doubt.UNKNOWN, "nobody has accepted it")
    same_key = any(c.key_print == certificate.key_print for c in before)
    return Verdict(
        Doubt.CHANGED,
        f"it CHANGED: accepted was {before[-1]}. Either it was renewed"
        f"{', and its key is the same' if same_key else ''}, or somebody is between: ask who looks after the "
        "machine before you accept it",
    )


def _path(shown: Sequence[Certificate], trusted: Trusted, now_ns: int) -> list[Certificate] | None:
    """From the certificate to what is trusted; None when there is no way."""
    certificate = shown[0]
    if any(c.der == certificate.der for c in trusted.certificates):
        return [certificate]
    anchors = [c for c in trusted.certificates if vouches(c)]
    # Which server it is for, only a certificate's own words can say; without them it must be accepted itself.
    if not anchors or not certificate.uris:
        return None
    by_der = {c.der: c for c in (*shown, *anchors)}
    try:
        verifier = (
            v.PolicyBuilder()
            .store(v.Store([_x509(c) for c in anchors]))
            .time(datetime.fromtimestamp(now_ns // NS, UTC).replace(tzinfo=None))
            .extension_policies(ca_policy=_AUTHORITY, ee_policy=v.ExtensionPolicy.permit_all())
            .build_client_verifier()
        )
        chain = verifier.verify(_x509(certificate), [_x509(c) for c in shown[1:]]).chain
    except (v.VerificationError, ValueError):
        return None
    path = [by_der[c.public_bytes(Encoding.DER)] for c in chain]
    return path if all(vouches(c) for c in path[1:]) else None


def _is_authority(
    _policy: v.Policy, _certificate: x509.Certificate, constraints: x509.BasicConstraints
) -> None:
    if not constraints.ca:
        raise ValueError("not an authority")


_AUTHORITY = v.ExtensionPolicy.permit_all().require_present(
    x509.BasicConstraints, v.Criticality.AGNOSTIC, _is_authority
)


def _is_revoked(certificate: Certificate, trusted: Trusted) -> bool:
    parsed = _x509(certificate)
    issuer, serial = parsed.issuer.public_bytes(), parsed.serial_number
    return any(r.issuer == issuer and serial in r.serials for r in trusted.revoked)


def _x509(certificate: Certificate) -> x509.Certificate:
    return x509.load_der_x509_certificate(certificate.der)
