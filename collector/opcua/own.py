"""Our own certificate and key: made on first use, never overwritten.

In the folder of certificates: ``own/certificate.der``, to be accepted at the server, and ``own/key.pem``,
which nobody else may read. A pair that a site's own authority has issued may be put there instead.
"""

from __future__ import annotations

import os
import re
import shutil
import socket
import tempfile
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import rsa
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    PublicFormat,
    load_pem_private_key,
)
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from collector.opcua.certificate import Certificate, day, read_certificates
from historian.errors import OutsideWorldAway, StoreReadOnly, WrongInput
from historian.frame import NS

KEY_BITS = 2048
"""Length of a key that we make, and the least that is let pass.

Source: OPC 10000-7, the policies that we know ask for 2048 to 4096.
"""

VALID_DAYS = 5 * 365
"""common practice, no source"""

_SINCE_NS = 1_735_689_600 * NS  # 2025-01-01; before that this program was not
_AGAIN = "The certificate must then be accepted at the server again"


@dataclass(frozen=True, slots=True)
class Own:
    """A certificate and its key.

    Attributes:
        certificate: to be shown.
        key: of it.
        file: where the certificate lies.
    """

    certificate: Certificate
    key: rsa.RSAPrivateKey = field(repr=False)
    file: Path

    @property
    def uri(self) -> str:
        """The application that the certificate names."""
        return self.certificate.uris[0]


def own_files(folder: Path) -> tuple[Path, Path]:
    """Where our own certificate and its key lie, in a folder of certificates."""
    return folder / "own" / "certificate.der", folder / "own" / "key.pem"


def own_certificate(folder: Path, line: str, now_ns: int) -> Own:
    """Our own certificate and key; made when there are none yet.

    Args:
        folder: of certificates.
        line: name of the line, which stands in the certificate.
        now_ns: UTC nanoseconds.

    Raises:
        WrongInput: what is there cannot be used; naming the file and the remedy.
        StoreReadOnly: the folder cannot be written.
    """
    if not (folder / "own").exists():
        _make(folder, line, now_ns)
    own = load_pair(*own_files(folder), f"or move {folder / 'own'} away: another pair is then made")
    where = own.file
    if not own.certificate.uris:
        raise WrongInput(
            f"{where}: names no application URI, which OPC UA asks for; put one there that does, or move "
            f"{where.parent} away: another pair is then made. {_AGAIN}"
        )
    if not own.certificate.starts_ns <= now_ns <= own.certificate.ends_ns:
        raise WrongInput(
            f"{where}: our own certificate is valid from {day(own.certificate.starts_ns)} to "
            f"{day(own.certificate.ends_ns)}, and this computer's clock says {day(now_ns)}; when the clock "
            f"is right, move {where.parent} away: another pair is then made. {_AGAIN}"
        )
    return own


def application_uri(line: str) -> str:
    """What we call ourselves, where no certificate says it."""
    return f"urn:{_host()}:meltledger:{line}"


def load_pair(certificate: Path, key: Path, otherwise: str = "") -> Own:
    """A certificate and the key that belongs to it.

    Args:
        certificate: DER or PEM.
        key: PEM, without a pass phrase.
        otherwise: what else would help, for the message.

    Raises:
        WrongInput: one is missing or cannot be read, or the two do not belong together.
    """
    remedy = f"put the right one there{', ' if otherwise else ''}{otherwise}"
    body = _bytes(certificate, remedy)
    try:
        (shown, *_) = read_certificates(body, str(certificate))
    except WrongInput as error:
        raise WrongInput(f"{error}; {remedy}") from error
    try:
        private = load_pem_private_key(_bytes(key, remedy), None)
    except TypeError as error:
        raise WrongInput(
            f"{key}: the key is protected by a pass phrase; keep it without one, readable by this user only"
        ) from error
    except Exception as error:
        if isinstance(error, WrongInput):
            raise
        # The library's words may hold parts of what should have been the key.
        raise WrongInput(f"{key}: no PEM key that can be read; {remedy}") from None
    if not isinstance(private, rsa.RSAPrivateKey) or private.key_size < KEY_BITS:
        raise WrongInput(f"{key}: not an RSA key of at least {KEY_BITS} bits; {remedy}")
    public = private.public_key().public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)
    if public != _public(shown):
        raise WrongInput(f"{key}: does not belong to {certificate}; {remedy}")
    return Own(shown, private, certificate)


def _host() -> str:
    return re.sub(r"[^A-Za-z0-9.-]", "-", socket.gethostname())[:60] or "localhost"


def _public(shown: Certificate) -> bytes:
    key = x509.load_der_x509_certificate(shown.der).public_key()
    return key.public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)


def _bytes(file: Path, remedy: str) -> bytes:
    try:
        return file.read_bytes()
    except OSError as error:
        raise WrongInput(f"{file}: cannot be read ({error.strerror}); {remedy}") from error


def _make(folder: Path, line: str, now_ns: int) -> None:
    """Make a pair; both files are there at once, or none. Who comes second leaves the first one's."""
    if now_ns < _SINCE_NS:
        raise OutsideWorldAway(
            f"{folder}: no certificate is made while this computer's clock says {day(now_ns)}; set the clock"
        )
    key = rsa.generate_private_key(public_exponent=65_537, key_size=KEY_BITS)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        made = Path(tempfile.mkdtemp(prefix="own-", dir=folder))
        try:
            certificate_file, key_file = (made / f.name for f in own_files(folder))
            body = key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
            _write(key_file, body, 0o600)
            _write(certificate_file, _signed(key, line, now_ns), 0o644)
            made.chmod(0o755)
            _rename(made, folder / "own")
        finally:
            shutil.rmtree(made, ignore_errors=True)
    except OSError as error:
        raise StoreReadOnly(
            f"{folder}: our own certificate cannot be kept there ({error.strerror}); let this user write "
            "there, or name another folder with certificates"
        ) from error


def _rename(made: Path, to: Path) -> None:
    try:
        made.rename(to)
    except OSError:
        if not to.is_dir():
            raise
    handle = os.open(to.parent, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _write(file: Path, body: bytes, mode: int) -> None:
    handle = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
    with os.fdopen(handle, "wb") as out:
        out.write(body)
        out.flush()
        os.fsync(out.fileno())


def _signed(key: rsa.RSAPrivateKey, line: str, now_ns: int) -> bytes:
    """The certificate that goes with a key, signed by itself.

    Source: OPC 10000-6, 6.2.2: application URI and host in the SubjectAltName, and these key usages.
    """
    host = _host()
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, f"meltledger {line}"[:64])])
    now = datetime.fromtimestamp(now_ns // NS, UTC)
    usage = x509.KeyUsage(
        digital_signature=True,
        content_commitment=True,
        key_encipherment=True,
        data_encipherment=True,
        key_agreement=False,
        key_cert_sign=True,
        crl_sign=False,
        encipher_only=False,
        decipher_only=False,
    )
    names = [x509.UniformResourceIdentifier(application_uri(line)), x509.DNSName(host)]
    builder = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        # A machine's clock may be a little behind.
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=VALID_DAYS))
        .add_extension(x509.SubjectAlternativeName(names), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(usage, critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.CLIENT_AUTH]), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
    )
    return builder.sign(key, hashes.SHA256()).public_bytes(Encoding.DER)
