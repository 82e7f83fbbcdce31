"""``meltledger discover``: look at what a machine's server has, and draft a line's file."""

from __future__ import annotations

import asyncio
import json
import shlex
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final

import click
from pydantic import ValidationError

from collector.discovery import Discovery, Finding, Standing, discover
from historian.errors import OutsideWorldAway, StoreReadOnly, WrongInput
from meltledger.cli import FOUND
from meltledger.draft import About, draft
from meltledger.linefile import Line
from meltledger.linefile.opcua_access import AccessKeys
from meltledger.logs import set_up

_ACCESS: Final = (
    "security",
    "user",
    "password_env",
    "password_file",
    "user_certificate",
    "user_key",
    "certificates",
)

_HELP = """Look at what the server at ENDPOINT has, and draft a line's file. It only browses and reads.

Machines after OPC 40084 v2 map themselves to tags. What only a text tells, and whatever else was found, is
proposed and marked confirm = true; it is kept under a neutral name until a person has confirmed it in the
file. Paths are relative to the folder of FILE.
"""


@click.command("discover", help=_HELP)
@click.argument("endpoint")
@click.option(
    "--output", "-o", type=click.Path(path_type=Path), default=None, help="FILE to write. [default: print it]"
)
@click.option("--force", is_flag=True, help="Write over FILE when it is there.")
@click.option("--name", default="line", show_default=True, help="Name of the line.")
@click.option("--zone", default="UTC", show_default=True, help="IANA time zone of the site.")
@click.option("--security", default=None, help="Security policy and mode, as Basic256Sha256/SignAndEncrypt.")
@click.option("--user", default=None, help="User name to log in with.")
@click.option("--password-env", default=None, help="Environment variable that holds the password.")
@click.option("--password-file", default=None, help="File that holds the password instead.")
@click.option("--user-certificate", default=None, help="Certificate to log in with.")
@click.option("--user-key", default=None, help="Its key.")
@click.option(
    "--certificates", default=None, help="Folder of our own certificate and the trusted ones. [default: pki]"
)
@click.option("--trust", default=None, help="Thumbprint of the server's certificate, to accept it.")
@click.option(
    "--most", type=click.IntRange(1), default=50_000, show_default=True, help="Nodes to look at, at most."
)
@click.option(
    "--seconds", type=click.FloatRange(1), default=180.0, show_default=True, help="Time to take, at most."
)
@click.option("--json", "as_json", is_flag=True, help="Machine output.")
def command(endpoint: str, output: Path | None, force: bool, **options: Any) -> int:
    """Draft a file; exit with 1 when it holds no tag yet."""
    set_up()
    scheme = endpoint.partition("://")[0]
    if scheme not in _BY_SCHEME:
        known = ", ".join(f"{s}://" for s in _BY_SCHEME)
        raise WrongInput(
            f"'{endpoint[:80]}': not an address that can be looked at; it begins with one of {known}"
        )
    if output is not None and output.exists() and not force:
        raise WrongInput(f"{output}: is there already; name another file, or write over it with --force")
    _check_line(options["name"], options["zone"])
    discovery, about = _BY_SCHEME[scheme](endpoint, (output or Path("line.toml")).parent, options)
    text = draft(discovery, about)
    if output is not None:
        _write(output, text, force=force)
    elif not options["as_json"]:
        click.echo(text, nl=False)
    if options["as_json"]:
        click.echo(json.dumps(_as_json(discovery, about, output)))
    else:
        _tell(discovery, output)
    return 0 if any(f.is_kept for f in discovery.findings) else FOUND


def _opcua(endpoint: str, base: Path, options: Mapping[str, Any]) -> tuple[Discovery, About]:
    """What an OPC UA server has."""
    from collector.opcua.nodes import is_simulated

    given = {key: options[key] for key in _ACCESS if options[key] is not None}
    keys = _keys(endpoint, given)
    command = f"meltledger discover {shlex.quote(endpoint)} … --trust"
    if options["trust"] is not None:
        _accept(base / keys.certificates, options["trust"])
    space, namespaces = asyncio.run(_look(keys, base, options, command))
    about = About(options["name"], options["zone"], endpoint, is_simulated(namespaces), given)
    return discover(space), about


async def _look(keys: AccessKeys, base: Path, options: Mapping[str, Any], command: str) -> Any:
    from collector.opcua.browse import Bounds, browse
    from collector.opcua.link import Link
    from meltledger.access import access_by

    bounds = Bounds(nodes=options["most"], seconds=options["seconds"])
    try:
        async with Link.opened(keys.endpoint, access_by(keys, base, options["name"], command)) as link:
            return await browse(link, bounds, _progress()), link.namespaces
    except OutsideWorldAway as error:
        raise OutsideWorldAway(
            f"{error}. Remedy: check the address, that the machine is switched on and that its OPC UA server "
            "is; then try again"
        ) from error


def _broker(endpoint: str, base: Path, options: Mapping[str, Any]) -> tuple[Discovery, About]:
    """What comes from a broker is not looked at yet."""
    raise WrongInput(
        f"{endpoint}: brokers are not looked at; write the topics or metrics into the file by hand, as "
        "docs/line-file.md says"
    )


_BY_SCHEME: Final[Mapping[str, Callable[[str, Path, Mapping[str, Any]], tuple[Discovery, About]]]] = {
    "opc.tcp": _opcua,
    "mqtt": _broker,
    "mqtts": _broker,
}
"""How an address begins → who looks there."""


def _keys(endpoint: str, given: Mapping[str, str]) -> AccessKeys:
    try:
        keys = AccessKeys.model_validate({"endpoint": endpoint, **given})
    except ValidationError as error:
        first = error.errors()[0]
        option = str(first["loc"][0]).replace("_", "-")
        said = str(first["msg"]).removeprefix("Value error, ")
        raise WrongInput(f"{'' if option == 'endpoint' else '--'}{option}: {said}") from None
    for place, said in keys.access_faults():
        raise WrongInput(f"--{place[0]}: {said}".replace("_", "-"))
    return keys


def _check_line(name: str, zone: str) -> None:
    try:
        Line.model_validate({"name": name, "zone": zone})
    except ValidationError as error:
        first = error.errors()[0]
        said = str(first["msg"]).removeprefix("Value error, ")
        raise WrongInput(f"--{first['loc'][0]}: {said}") from None


def _accept(folder: Path, which: str) -> None:
    """Trust a server's certificate that waits in the folder, or is trusted already."""
    from collector.opcua.trust import TrustFolder, pick

    trust = TrustFolder(folder)
    if (certificate := pick(trust.waiting(), which)) is not None:
        trust.accept(certificate, time.time_ns())
    elif pick(trust.accepted(), which) is None:
        raise WrongInput(
            f"--trust: no certificate waits in {folder} whose thumbprint begins with '{which[:80]}'; "
            "leave it out first: the server's certificate is then shown, and waits there"
        )


def _progress() -> Callable[[str, int], None]:
    """Says every few seconds how far it is, to standard error."""
    said_s = time.monotonic()

    def say(what: str, done: int) -> None:
        nonlocal said_s
        if time.monotonic() - said_s > 2.0:
            said_s = time.monotonic()
            click.echo(f"{done} {what}", err=True)

    return say


def _write(file: Path, text: str, *, force: bool) -> None:
    try:
        with file.open("w" if force else "x", encoding="utf-8") as out:
            out.write(text)
    except FileExistsError as error:
        raise WrongInput(
            f"{file}: is there already; name another file, or write over it with --force"
        ) from error
    except OSError as error:
        raise StoreReadOnly(f"{file}: cannot be written ({error.strerror}); name another place") from error


def _tell(discovery: Discovery, output: Path | None) -> None:
    """What was found; to standard error where the draft itself goes to standard output."""
    mapped, confirm, ambiguous, unknown = (len(discovery.of(s)) for s in Standing)
    machines = ", ".join(m.label for m in discovery.machines) or "none that says by its type what it is"
    lines = [
        f"machines: {machines}",
        f"mapped by type and path: {mapped}",
        f"to be confirmed, kept under neutral names: {confirm}",
        f"may be one of several, not kept: {ambiguous}",
        f"not understood, not kept: {unknown}",
        f"left out: {discovery.others} numbers such as tolerances and limits, {discovery.texts} texts",
        *(f"not looked at: {text}" for text in discovery.left_out),
    ]
    if mapped + confirm == 0:
        lines.append("no tag is kept yet: take the # away from those that are wanted, and say what they are")
    if output is not None:
        lines.append(f"{output} is written; next: meltledger check {output}")
    for line in lines:
        click.echo(line, err=output is None)


def _as_json(discovery: Discovery, about: About, output: Path | None) -> dict[str, Any]:
    return {
        "endpoint": about.endpoint,
        "simulated": about.simulated,
        "file": str(output) if output is not None else None,
        "machines": [{"kind": m.kind, "name": m.label, "about": m.about} for m in discovery.machines],
        "left_out": list(discovery.left_out),
        **{str(s): [_finding_json(f) for f in discovery.of(s)] for s in Standing},
    }


def _finding_json(finding: Finding) -> dict[str, Any]:
    return {
        "tag": finding.path,
        "node": finding.address,
        "unit": finding.unit,
        "place": finding.place,
        "text": finding.text,
        "becomes": finding.becomes or None,
        "readings": list(finding.readings),
        "confidence": str(finding.confidence) if finding.confidence else None,
        "reason": finding.reason,
    }
