"""How a line's OPC UA sources get in, as the collector takes it, and what a person should know of it."""

from __future__ import annotations

import os
import shlex
from collections.abc import Iterator
from pathlib import Path

from collector.opcua import Access, parse_security
from collector.opcua.expiry import expiry_text
from collector.opcua.identity import Anonymous, Identity, UserCertificate, UserName
from collector.opcua.own import load_pair, own_files
from collector.opcua.trust import TrustFolder
from collector.secret import Secret
from historian.errors import MeltledgerError
from meltledger.config import LineConfig
from meltledger.linefile import OpcUaSection
from meltledger.linefile.opcua_access import AccessKeys


def access_of(section: OpcUaSection, config: LineConfig) -> Access:
    """How one source gets in."""
    command = f"meltledger trust {shlex.quote(str(config.path))}"
    return access_by(section, config.path.parent, config.facts.name, command)


def access_by(keys: AccessKeys, base: Path, line: str, command: str) -> Access:
    """How one gets in by the keys of a source.

    Args:
        base: folder that the keys' paths are relative to.
        line: name of the line.
        command: what a person types to accept a certificate, without its thumbprint.
    """
    security, identity = parse_security(keys.security), _identity(keys, base)
    return Access(security, identity, base / keys.certificates, line, command)


def certificate_folders(config: LineConfig) -> list[Path]:
    """The folders of certificates that the line's sources use, each once."""
    sections = [s for s in config.file.source if isinstance(s, OpcUaSection)]
    return list(dict.fromkeys(config.path.parent / s.certificates for s in sections))


def access_notes(config: LineConfig, now_ns: int) -> list[str]:
    """What is no fault of the line's file but will keep a source out, today or soon."""
    accesses = [(s.name, access_of(s, config)) for s in config.file.source if isinstance(s, OpcUaSection)]
    needed = [(name, access) for name, access in accesses if access.needs_trust]
    folders = dict.fromkeys(access.folder for _, access in needed)
    notes = [note for folder in folders for note in _folder_notes(folder, config, now_ns)]
    for name, access in needed:
        notes += [f"source {name}: {note}" for note in _login_notes(access.identity, now_ns)]
    return notes


def _identity(section: AccessKeys, base: Path) -> Identity:
    if section.user is not None:
        file = None if section.password_file is None else base / section.password_file
        return UserName(section.user, Secret(section.password_env, file))
    if section.user_certificate is not None and section.user_key is not None:
        return UserCertificate(base / section.user_certificate, base / section.user_key)
    return Anonymous()


def _folder_notes(folder: Path, config: LineConfig, now_ns: int) -> Iterator[str]:
    if config.folder.resolve() in [folder.resolve(), *folder.resolve().parents]:
        yield f"{folder} is in the store's folder, so a backup carries our key away; name another folder"
    file, key = own_files(folder)
    if file.parent.exists():
        try:
            own = load_pair(file, key).certificate
            if key.stat().st_mode & 0o077:
                yield f"{key} can be read by others; let only who runs the line read it"
            if said := expiry_text("our own certificate", own, now_ns):
                yield said
        except MeltledgerError as error:
            yield str(error)
    trust = TrustFolder(folder)
    try:
        trusted = trust.read()
        waiting = trust.waiting()
    except MeltledgerError as error:
        yield str(error)
        return
    for certificate in trusted.certificates:
        if said := expiry_text("a trusted certificate", certificate, now_ns):
            yield said
    yield from (
        f"{name}: no certificate that can be read; it counts for nothing" for name in trusted.unreadable
    )
    if waiting:
        yield (
            f"{len(waiting)} certificate{'s wait' if len(waiting) > 1 else ' waits'} to be accepted; "
            f"see `meltledger trust {config.path}`"
        )


def _login_notes(identity: Identity, now_ns: int) -> Iterator[str]:
    try:
        match identity:
            case UserName(_, secret):
                secret.read()
                if secret.env is None and secret.file is not None and os.stat(secret.file).st_mode & 0o004:
                    yield f"{secret.file} can be read by everybody; let only who runs the line read it"
            case UserCertificate() as user:
                if said := expiry_text("the user certificate", user.load().certificate, now_ns):
                    yield said
            case Anonymous():
                pass
    except MeltledgerError as error:
        yield str(error)
