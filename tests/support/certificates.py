"""Certificates of every kind that a real machine may show, sound and unsound."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec, rsa
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat
from cryptography.x509.oid import NameOID

from collector.opcua.certificate import Certificate, read_certificates

URI = "urn:test:machine:server"


@cache
def key_of(name: str, bits: int = 2048) -> rsa.RSAPrivateKey:
    """A key that is made once a run; making one takes a while."""
    return rsa.generate_private_key(public_exponent=65_537, key_size=bits)


@dataclass(frozen=True)
class Signed:
    """A certificate with its key.

    Attributes:
        x509: as the library has it.
        key: of it.
    """

    x509: x509.Certificate
    key: rsa.RSAPrivateKey | ec.EllipticCurvePrivateKey

    @property
    def der(self) -> bytes:
        return self.x509.public_bytes(Encoding.DER)

    @property
    def pem(self) -> bytes:
        return self.x509.public_bytes(Encoding.PEM)

    @property
    def facts(self) -> Certificate:
        return read_certificates(self.der, "test")[0]

    @property
    def key_pem(self) -> bytes:
        return self.key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())

    def save(self, folder: Path, name: str) -> tuple[Path, Path]:
        """The files of certificate and key."""
        folder.mkdir(parents=True, exist_ok=True)
        certificate, key = folder / f"{name}.der", folder / f"{name}.pem"
        certificate.write_bytes(self.der)
        key.write_bytes(self.key_pem)
        return certificate, key


def signed(
    name: str = "machine",
    *,
    issuer: Signed | None = None,
    uri: str | None = URI,
    authority: bool | None = None,
    key: rsa.RSAPrivateKey | ec.EllipticCurvePrivateKey | None = None,
    from_day: float = -1.0,
    to_day: float = 365.0,
) -> Signed:
    """A certificate by itself or by an issuer; without any extension where neither uri nor authority is given.

    Args:
        from_day, to_day: when it is valid, from now.
    """
    private = key or key_of(name)
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])
    now = datetime.datetime.now(datetime.UTC)
    builder = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer.x509.subject if issuer else subject)
        .public_key(private.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now + datetime.timedelta(days=from_day))
        .not_valid_after(now + datetime.timedelta(days=to_day))
    )
    if uri is not None:
        names = x509.SubjectAlternativeName([x509.UniformResourceIdentifier(uri)])
        builder = builder.add_extension(names, critical=False)
    if authority is not None:
        builder = builder.add_extension(x509.BasicConstraints(authority, None), critical=True)
    return Signed(builder.sign(issuer.key if issuer else private, hashes.SHA256()), private)


def called_back(issuer: Signed, *certificates: Signed) -> x509.CertificateRevocationList:
    """An authority's list of certificates that it has called back."""
    now = datetime.datetime.now(datetime.UTC)
    builder = (
        x509.CertificateRevocationListBuilder()
        .issuer_name(issuer.x509.subject)
        .last_update(now)
        .next_update(now + datetime.timedelta(days=30))
    )
    for certificate in certificates:
        entry = x509.RevokedCertificateBuilder().serial_number(certificate.x509.serial_number)
        builder = builder.add_revoked_certificate(entry.revocation_date(now).build())
    return builder.sign(issuer.key, hashes.SHA256())
