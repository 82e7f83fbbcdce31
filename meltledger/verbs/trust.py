"""``meltledger trust``: see and decide whose certificates a line believes."""

from __future__ import annotations

import json
import time
from pathlib import Path
from typing import Any

import click

from collector.opcua.certificate import Certificate, day, read_certificates
from collector.opcua.judgement import vouches
from collector.opcua.own import own_files
from collector.opcua.trust import Kept, TrustFolder, pick
from historian.errors import WrongInput
from meltledger.access import certificate_folders
from meltledger.config import LineConfig, load

_HELP = """See which servers' certificates a line's OPC UA sources trust, and accept or withdraw one.

Without WHICH: what waits to be accepted, what is trusted, and our own certificate, which the server must
accept in its turn. WHICH is the beginning of a thumbprint, at least eight digits, or the file of a
certificate; with one of an authority, all that it has issued is trusted. A running line takes it up.
"""


@click.command("trust", help=_HELP)
@click.argument("line", type=click.Path(path_type=Path))
@click.argument("which", required=False)
@click.option("--forget", is_flag=True, help="Withdraw WHICH instead: trust it no more.")
@click.option("--json", "as_json", is_flag=True, help="Machine output.")
def command(line: Path, which: str | None, forget: bool, as_json: bool) -> int:
    """List, accept or withdraw."""
    folders = _folders(load(line))
    if which is None:
        if forget:
            raise WrongInput("--forget needs the thumbprint of what is to be trusted no more")
        return _listed(folders, line, as_json)
    if forget:
        return _forgotten(folders, which, line, as_json)
    return _accepted(folders, which, line, as_json)


def _folders(config: LineConfig) -> list[TrustFolder]:
    folders = certificate_folders(config)
    if not folders:
        raise WrongInput(
            f"{config.path}: no source is read over OPC UA, so there are no certificates to trust"
        )
    return [TrustFolder(folder) for folder in folders]


def _listed(folders: list[TrustFolder], line: Path, as_json: bool) -> int:
    if as_json:
        click.echo(json.dumps([_folder_json(f) for f in folders]))
        return 0
    for folder in folders:
        click.echo(f"{folder.folder}:")
        waiting, accepted, own = folder.waiting(), folder.accepted(), _own(folder)
        click.echo(f"waits to be accepted: {len(waiting)}")
        for kept in waiting:
            _show(kept.certificate, kept)
            click.echo(f"    accept with: meltledger trust {line} {kept.certificate.thumbprint[:16]}")
        click.echo(f"trusted: {len(accepted)}")
        for kept in accepted:
            _show(kept.certificate, kept)
        for file in folder.read().unreadable:
            click.echo(f"  {file}: no certificate that can be read; it counts for nothing")
        click.echo("our own, to be accepted at the server:")
        if own is None:
            click.echo("  none yet; it is made when a secured source connects first")
        else:
            _show(own, None)
            click.echo(f"    file: {own_files(folder.folder)[0]}")
    return 0


def _accepted(folders: list[TrustFolder], which: str, line: Path, as_json: bool) -> int:
    """Accept it where it waits; a file, for every folder that the line uses."""
    now_ns = time.time_ns()
    waits = [(f, c) for f in folders if (c := pick(f.waiting(), which)) is not None]
    if not waits:
        trusted = [(f, c) for f in folders if (c := pick(f.accepted(), which)) is not None]
        if trusted:
            return _said(trusted, "is trusted already", as_json)
        certificate = _from_file(which, line)
        waits = [(f, certificate) for f in folders]
    for folder, certificate in waits:
        folder.accept(certificate, now_ns)
    _said(waits, "is trusted now", as_json)
    if not as_json:
        _say_more(waits, line)
    return 0


def _forgotten(folders: list[TrustFolder], which: str, line: Path, as_json: bool) -> int:
    given = _from_file(which, line).thumbprint if Path(which).is_file() else which
    found = [(f, c) for f in folders if (c := pick(f.accepted(), given)) is not None]
    if not found:
        raise WrongInput(f"'{which}' is not trusted; `meltledger trust {line}` lists what is")
    for folder, certificate in found:
        folder.forget(certificate)
    _said(found, "is trusted no more; a connection that stands goes on until it ends", as_json)
    return 0


def _from_file(which: str, line: Path) -> Certificate:
    file = Path(which)
    if not file.is_file():
        raise WrongInput(
            f"'{which}' is neither the beginning of a thumbprint that waits nor a file; "
            f"`meltledger trust {line}` lists what waits"
        )
    try:
        body = file.read_bytes()
    except OSError as error:
        raise WrongInput(f"{file}: cannot be read ({error.strerror})") from error
    found = read_certificates(body, which)
    if len(found) > 1:
        raise WrongInput(f"{file}: holds {len(found)} certificates; give them one by one")
    return found[0]


def _say_more(done: list[tuple[TrustFolder, Certificate]], line: Path) -> None:
    """What follows from an acceptance that a person may not expect."""
    for folder, certificate in done:
        if vouches(certificate):
            click.echo(
                "  It is an authority's: every server whose certificate it has issued is trusted with it."
            )
        others = [c for c in _same_server(folder, certificate) if c != certificate]
        for other in others:
            click.echo(
                f"  Still trusted for the same server: {other}. When it is of no use any more: "
                f"meltledger trust {line} {other.thumbprint[:16]} --forget"
            )


def _same_server(folder: TrustFolder, certificate: Certificate) -> list[Certificate]:
    kept = folder.accepted()
    ours = next((k.server for k in kept if k.certificate == certificate), None)
    return [
        k.certificate
        for k in kept
        if set(k.certificate.uris) & set(certificate.uris)
        or (ours is not None and k.server is not None and k.server.endpoint == ours.endpoint)
    ]


def _said(done: list[tuple[TrustFolder, Certificate]], what: str, as_json: bool) -> int:
    if as_json:
        body = [{"folder": str(f.folder), "did": what, **_certificate_json(c)} for f, c in done]
        click.echo(json.dumps(body))
        return 0
    for folder, certificate in done:
        click.echo(f"{folder.folder}: {certificate} {what}")
    return 0


def _own(folder: TrustFolder) -> Certificate | None:
    file = own_files(folder.folder)[0]
    return read_certificates(file.read_bytes(), str(file))[0] if file.is_file() else None


def _show(certificate: Certificate, kept: Kept | None) -> None:
    for name, value in _lines(certificate, kept):
        click.echo(f"  {'' if name == 'thumbprint' else '  '}{name}: {value}")


def _lines(certificate: Certificate, kept: Kept | None) -> list[tuple[str, str]]:
    lines = [
        ("thumbprint", certificate.thumbprint),
        ("as SHA-1", certificate.sha1),
        ("subject", certificate.subject),
        ("application", ", ".join(certificate.uris) or "none named"),
        ("valid", f"from {day(certificate.starts_ns)} to {day(certificate.ends_ns)}"),
    ]
    if vouches(certificate):
        lines.append(("authority", "trusts all that it has issued"))
    if kept is not None and kept.server is not None:
        lines.append(("shown by", f"{kept.server.endpoint} ({kept.server.application or 'without a name'})"))
    return lines


def _folder_json(folder: TrustFolder) -> dict[str, Any]:
    own = _own(folder)
    return {
        "folder": str(folder.folder),
        "waiting": [_kept_json(k) for k in folder.waiting()],
        "trusted": [_kept_json(k) for k in folder.accepted()],
        "own": _certificate_json(own) if own else None,
    }


def _kept_json(kept: Kept) -> dict[str, Any]:
    endpoint = kept.server.endpoint if kept.server else None
    return {**_certificate_json(kept.certificate), "file": str(kept.file), "endpoint": endpoint}


def _certificate_json(certificate: Certificate) -> dict[str, Any]:
    return {
        "thumbprint": certificate.thumbprint,
        "sha1": certificate.sha1,
        "subject": certificate.subject,
        "applications": list(certificate.uris),
        "starts_ns": certificate.starts_ns,
        "ends_ns": certificate.ends_ns,
        "authority": vouches(certificate),
    }
