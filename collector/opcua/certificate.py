"""What a certificate says, in facts that can be judged and words that a person can compare."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime

from cryptography import x509
from cryptography.hazmat.primitives.asymmetric.rsa import RSAPublicKey
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

from collector.opcua.times import ns_of
from historian.errors import WrongInput
from historian.frame import NS

DAY_NS = 86_400 * NS

_PEM = b"-----BEGIN "
_SEQUENCE = 0x30


@dataclass(frozen=True, slots=True)
class Certificate:
    """An X.509 certificate.

    Attributes:
        der: its bytes.
        thumbprint: SHA-256 of them, lower-case hexadecimal.
        subject: whom it names.
        uris: the applications that it names.
        starts_ns, ends_ns: it is valid from the one to the other, UTC nanoseconds.
        key_bits: length of its RSA key; None for a key of another kind.
        key_print: SHA-256 of its public key.
        is_authority: whether it vouches for other certificates.
    """

    der: bytes = field(repr=False)
    thumbprint: str
    subject: str
    uris: tuple[str, ...]
    starts_ns: int
    ends_ns: int
    key_bits: int | None
    key_print: str
    is_authority: bool

    @property
    def sha1(self) -> str:
        """The older thumbprint, which panels of machines often show."""
        return hashlib.sha1(self.der, usedforsecurity=False).hexdigest()

    def __str__(self) -> str:
        return (
            f"{self.subject}, thumbprint {self.thumbprint}, valid from {day(self.starts_ns)} to "
            f"{day(self.ends_ns)}"
        )


def read_certificates(data: bytes, where: str) -> tuple[Certificate, ...]:
    """The certificates in a file or an answer: one, or a chain with the first one's issuers behind it.

    Args:
        data: DER, one after the other, or PEM.
        where: for the message.

    Raises:
        WrongInput: there is none, or one that cannot be read.
    """
    try:
        if _PEM in data:
            found = tuple(_facts(c) for c in x509.load_pem_x509_certificates(data))
        else:
            found = tuple(_facts(x509.load_der_x509_certificate(der)) for der in _split(data))
    except Exception as error:
        # What a damaged or hostile certificate makes the library raise is not documented.
        raise WrongInput(f"{where}: no certificate that can be read ({type(error).__name__})") from error
    if not found:
        raise WrongInput(f"{where}: there is no certificate")
    return found


def day(time_ns: int) -> str:
    """The day of a time, UTC."""
    return f"{datetime.fromtimestamp(time_ns // NS, UTC):%Y-%m-%d}"


def plain(text: str, longest: int = 120) -> str:
    """A foreign text as it may stand in a message: on one line, and not endless."""
    shown = "".join(c if c.isprintable() else "?" for c in text)
    return shown if len(shown) <= longest else f"{shown[:longest]}…"


def _split(data: bytes) -> Iterator[bytes]:
    """The certificates of a chain that are written one behind the other."""
    while data:
        if data[0] != _SEQUENCE or len(data) < 4:
            raise ValueError("not a certificate")
        length, head = data[1], 2
        if length & 0x80:
            head += length & 0x7F
            length = int.from_bytes(data[2:head], "big")
        yield data[: head + length]
        data = data[head + length :]


def _facts(certificate: x509.Certificate) -> Certificate:
    der = certificate.public_bytes(Encoding.DER)
    key = certificate.public_key()
    public = key.public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)
    return Certificate(
        der=der,
        thumbprint=hashlib.sha256(der).hexdigest(),
        subject=plain(certificate.subject.rfc4514_string()) or "without a name",
        uris=_uris(certificate.extensions),
        starts_ns=ns_of(certificate.not_valid_before_utc),
        ends_ns=ns_of(certificate.not_valid_after_utc),
        key_bits=key.key_size if isinstance(key, RSAPublicKey) else None,
        key_print=hashlib.sha256(public).hexdigest(),
        is_authority=_is_authority(certificate.extensions),
    )


def _uris(extensions: x509.Extensions) -> tuple[str, ...]:
    try:
        names = extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except x509.ExtensionNotFound:
        return ()
    return tuple(names.get_values_for_type(x509.UniformResourceIdentifier))


def _is_authority(extensions: x509.Extensions) -> bool:
    try:
        return extensions.get_extension_for_class(x509.BasicConstraints).value.ca
    except x509.ExtensionNotFound:
        return False
