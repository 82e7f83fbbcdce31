"""The folder of certificates: what was accepted, what waits for it, what was called back.

``trusted/`` holds certificates of servers and of authorities, DER or PEM, under any name: whoever may write
there decides. ``waiting/`` gets what servers showed and nobody has accepted. ``revoked/`` holds lists of
certificates that an authority has called back. All are read anew for each connection. A file beside a
certificate with the ending ``.json`` remembers which server showed it.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path

from cryptography import x509

from collector.opcua.certificate import Certificate, read_certificates
from collector.opcua.judgement import Revoked, Server, Trusted, unfit
from historian.errors import StoreReadOnly, WrongInput

WAITING_LIMIT = 20
"""Certificates that wait at most: a server that shows another one each time must not fill the disk."""

_LEAST_PRINT = 8


@dataclass(frozen=True, slots=True)
class Kept:
    """A certificate in the folder.

    Attributes:
        certificate: itself.
        file: where it lies.
        server: who showed it; None when that is not known.
    """

    certificate: Certificate
    file: Path
    server: Server | None


class TrustFolder:
    """A folder of certificates; nothing of it is made before it is needed.

    Args:
        folder: where.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._trusted, self._waiting = folder / "trusted", folder / "waiting"
        self._revoked = folder / "revoked"

    def read(self) -> Trusted:
        """What a person has accepted, and what was called back.

        Raises:
            WrongInput: a list of what was called back cannot be read; without it nothing is believed.
        """
        kept, unreadable = self._read(self._trusted)
        met = {k.certificate.thumbprint: k.server for k in kept if k.server is not None}
        revoked = tuple(_revoked(file) for file in _files(self._revoked))
        return Trusted(tuple(k.certificate for k in kept), met, revoked, tuple(map(str, unreadable)))

    def accepted(self) -> list[Kept]:
        """What is trusted, by file."""
        return self._read(self._trusted)[0]

    def waiting(self) -> list[Kept]:
        """What nobody has accepted yet, by file."""
        return self._read(self._waiting)[0]

    def stamp(self) -> tuple[int, ...]:
        """Another one whenever somebody has accepted, withdrawn or put something."""
        return tuple(_changed_ns(self.folder / name) for name in ("trusted", "revoked", "own"))

    def lay(self, certificate: Certificate, server: Server) -> Path:
        """Let a certificate wait to be accepted.

        Raises:
            StoreReadOnly: the folder cannot be written.
        """
        file = self._put(self._waiting, certificate, server)
        kept = sorted(_files(self._waiting), key=_changed_ns)
        for old in kept[:-WAITING_LIMIT]:
            _remove(old)
        return file

    def remember(self, certificate: Certificate, server: Server) -> None:
        """Note which server showed a trusted certificate, so that it can be told when it shows another."""
        kept = next((k for k in self.accepted() if k.certificate == certificate), None)
        # A folder that this user may only read does as well; then only the names in a certificate tell.
        with suppress(OSError):
            if kept is not None and kept.server is None:
                _write(_note(kept.file), _note_body(server))

    def accept(self, certificate: Certificate, now_ns: int) -> Path:
        """Trust a certificate.

        Raises:
            WrongInput: it would be refused all the same.
            StoreReadOnly: the folder cannot be written.
        """
        fault = unfit(certificate, now_ns)
        if fault is not None:
            raise WrongInput(f"{certificate} would be refused all the same: {fault[1]}")
        waiting = [k for k in self.waiting() if k.certificate == certificate]
        server = waiting[0].server if waiting else None
        file = self._put(self._trusted, certificate, server)
        for kept in waiting:
            _remove(kept.file)
        return file

    def forget(self, certificate: Certificate) -> None:
        """Trust a certificate no more.

        Raises:
            WrongInput: its file holds others as well.
            StoreReadOnly: the folder cannot be written.
        """
        kept = self.accepted()
        for file in {k.file for k in kept if k.certificate == certificate}:
            if any(k.file == file and k.certificate != certificate for k in kept):
                raise WrongInput(f"{file}: holds other certificates as well; take it out there by hand")
            try:
                _remove(file)
            except OSError as error:
                raise self._not_written(error) from error

    def _put(self, folder: Path, certificate: Certificate, server: Server | None) -> Path:
        file = folder / f"{certificate.thumbprint}.der"
        try:
            folder.mkdir(parents=True, exist_ok=True)
            if server is not None:
                _write(_note(file), _note_body(server))
            _write(file, certificate.der)
        except OSError as error:
            raise self._not_written(error) from error
        return file

    def _not_written(self, error: OSError) -> StoreReadOnly:
        return StoreReadOnly(
            f"{self.folder}: certificates cannot be kept there ({error.strerror}); let this user write there"
        )

    def _read(self, folder: Path) -> tuple[list[Kept], list[Path]]:
        kept: list[Kept] = []
        unreadable: list[Path] = []
        for file in _files(folder):
            try:
                found = read_certificates(file.read_bytes(), str(file))
            except (OSError, WrongInput):
                unreadable.append(file)
                continue
            server = _server(_note(file)) if len(found) == 1 else None
            kept.extend(Kept(c, file, server) for c in found)
        return kept, unreadable


def pick(kept: list[Kept], text: str) -> Certificate | None:
    """The certificate whose thumbprint begins with a text; None when the text is no thumbprint, or nobody's.

    Args:
        kept: to pick from.
        text: at least eight hexadecimal digits of SHA-256 or SHA-1; colons, blanks, upper case do not matter.

    Raises:
        WrongInput: several begin with it.
    """
    start = "".join(text.split()).replace(":", "").lower()
    if len(start) < _LEAST_PRINT or set(start) - set("0123456789abcdef"):
        return None
    found = {
        k.certificate.thumbprint: k.certificate
        for k in kept
        if k.certificate.thumbprint.startswith(start) or k.certificate.sha1.startswith(start)
    }
    if len(found) > 1:
        raise WrongInput(f"'{text}' is the beginning of {len(found)} thumbprints; write more of it")
    return next(iter(found.values()), None)


def _files(folder: Path) -> Iterator[Path]:
    """The files of a folder that are to be read; none when it is not there."""
    try:
        names = sorted(folder.iterdir())
    except FileNotFoundError:
        return
    except OSError as error:
        raise WrongInput(f"{folder}: cannot be read ({error.strerror}); let this user read there") from error
    yield from (p for p in names if p.is_file() and p.suffix != ".json" and not p.name.startswith("."))


def _revoked(file: Path) -> Revoked:
    try:
        body = file.read_bytes()
        load = x509.load_pem_x509_crl if body.startswith(b"-----") else x509.load_der_x509_crl
        found = load(body)
        return Revoked(found.issuer.public_bytes(), frozenset(entry.serial_number for entry in found))
    except Exception as error:
        # What a damaged list makes the library raise is not documented.
        raise WrongInput(
            f"{file}: this list of certificates that were called back cannot be read "
            f"({type(error).__name__}), and without it none is believed; mend it, or move it away"
        ) from error


def _note(file: Path) -> Path:
    return file.with_name(f"{file.name}.json")


def _note_body(server: Server) -> bytes:
    return json.dumps(asdict(server), indent=1).encode()


def _server(note: Path) -> Server | None:
    try:
        said = json.loads(note.read_bytes())
        return Server(str(said["endpoint"]), str(said["application"]))
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _write(file: Path, body: bytes) -> None:
    """Whole or not at all, readable for whoever runs the line."""
    part = file.with_name(f".{file.name}.{os.getpid()}")
    try:
        part.write_bytes(body)
        part.chmod(0o644)
        part.replace(file)
    finally:
        part.unlink(missing_ok=True)


def _remove(file: Path) -> None:
    file.unlink(missing_ok=True)
    _note(file).unlink(missing_ok=True)


def _changed_ns(file: Path) -> int:
    try:
        return file.stat().st_mtime_ns
    except OSError:
        return 0
