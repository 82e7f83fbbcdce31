"""Drafts a line's file from what was found at a server, with what a person still has to decide."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import groupby
from typing import Final

from collector.discovery import Discovery, Finding, Standing

_LONGEST: Final = 160  # characters of a foreign text in a comment
_OUTSIDE: Final = "\n# ---- outside of machines that say what they are\n"
_MOST_ZONES: Final = 40
_MOST_PLATES: Final = 64

_HOW: Final = """\
# Drafted by `meltledger discover`. Read it through; `meltledger check` says what is wrong, and what is open.
#
# - What stands under a tag's own name was decided by type and path: a machine after OPC 40084 told it.
# - confirm = true: nobody has said yet what it is. It is kept under a neutral name until then. When it is
#   what becomes says, write that name in the place of the neutral one, and take out confirm and becomes.
#   When it is something else, write that instead. When it is of no use, take the line out.
# - What stands behind a # is not kept: it may be several things, or nothing is known of it. Take the # away
#   to keep it, under the neutral name or under the tag that it is.
# - unit is what the server delivers; it is converted. Where the server says none, "1" stands: write the
#   right one.
"""


@dataclass(frozen=True, slots=True)
class About:
    """What the draft says besides the tags.

    Attributes:
        name: of the line.
        zone: IANA time zone of the site.
        endpoint: of the server.
        simulated: whether a simulated line stands behind it.
        access: how to get in: keys of the source and what they hold.
    """

    name: str
    zone: str
    endpoint: str
    simulated: bool = False
    access: Mapping[str, str] = field(default_factory=dict)


def draft(discovery: Discovery, about: About) -> str:
    """The text of a line's file that ``meltledger check`` accepts, once there is a tag in it."""
    parts = [_HOW, *(f"# Not looked at: {_plain(text)}.\n" for text in discovery.left_out)]
    parts += [
        f"\n[line]\nname = {toml_text(about.name)}\n",
        f"zone = {toml_text(about.zone)}   # the site's IANA time zone\n",
        '\n[store]\npath = "data"\n',
        '\n[[source]]\nname = "machines"\nkind = "opcua"\n',
        f"endpoint = {toml_text(about.endpoint)}\n",
        "simulated = true\n" if about.simulated else "",
        *(f"{key} = {toml_text(value)}\n" for key, value in about.access.items()),
        "\n[source.tags]\n",
        *_tags(discovery),
        *_machines(discovery),
    ]
    return "".join(parts)


def toml_text(text: str) -> str:
    """A text as TOML writes it.

    Example:
        >>> toml_text('a "b"')
        '"a \\\\"b\\\\""'
    """
    whole = text.encode("utf-8", "replace").decode("utf-8")
    return json.dumps(whole, ensure_ascii=False).replace("\x7f", "\\u007f")


def _tags(discovery: Discovery) -> Iterator[str]:
    about = {m.label: m.about for m in discovery.machines}
    for machine, group in groupby(discovery.findings, key=lambda f: f.machine):
        findings = list(group)
        told = f" ({_plain(about[machine])})" if about.get(machine) else ""
        yield (f"\n# ---- {_plain(machine)}{told}\n" if machine else _OUTSIDE)
        yield from _block("", [f for f in findings if f.standing is Standing.MAPPED])
        yield from _block("to be confirmed", [f for f in findings if f.standing is Standing.CONFIRM])
        yield from _block("may be one of several", [f for f in findings if f.standing is Standing.AMBIGUOUS])
        yield from _block("not understood", [f for f in findings if f.standing is Standing.UNKNOWN])


def _block(title: str, findings: Sequence[Finding]) -> Iterator[str]:
    if findings and title:
        yield f"\n# {title}:\n"
    for finding in findings:
        yield _entry(finding)


def _entry(finding: Finding) -> str:
    """One tag's lines."""
    keys = {"node": toml_text(finding.address), "unit": toml_text(finding.unit)}
    if finding.text:
        keys["text"] = toml_text(_plain(finding.text))
    if finding.standing is not Standing.MAPPED:
        keys["confirm"] = "true"
    if finding.becomes:
        keys["becomes"] = toml_text(finding.becomes)
    table = ", ".join(f"{key} = {value}" for key, value in keys.items())
    entry = f"{toml_text(finding.path)} = {{ {table} }}"
    said = _said(finding)
    above = f"# {said}\n" if said else ""
    return f"{above}{'' if finding.is_kept else '# '}{entry}   # {_plain(finding.place)}\n"


def _said(finding: Finding) -> str:
    """What a person is told of it, on one line."""
    reason = _plain(finding.reason)
    if finding.readings:
        return f"perhaps {' or '.join(finding.readings)}: {reason}"
    if finding.becomes:
        return f"{finding.confidence}: {reason}" if finding.confidence else reason
    return reason


def _machines(discovery: Discovery) -> Iterator[str]:
    """The machines of the line, as far as they are known; in flow order."""
    mapped = [f.path for f in discovery.of(Standing.MAPPED)]
    kinds = {m.kind for m in discovery.machines}
    zones, plates = _highest(mapped, "extruder.zone."), _highest(mapped, "filter.plate.")
    if not kinds:
        yield "\n# Describe the line's machines, in flow order (docs/line-file.md):\n"
        yield '# [[machine]]\n# kind = "melt-filter"\n# plates = 8\n'
        return
    yield "\n# The line's machines, in flow order; complete them (docs/line-file.md).\n"
    if any(path.startswith("doser.") for path in mapped):
        yield '\n[[machine]]\nkind = "doser"\n'
    if "Extruder" in kinds:
        yield '\n[[machine]]\nkind = "extruder"\n'
        yield f"zones = {zones}\n" if 0 < zones <= _MOST_ZONES else ""
    if "Filter" in kinds:
        known = 0 < plates <= _MOST_PLATES
        lines = f'[[machine]]\nkind = "melt-filter"\nplates = {plates if known else 8}\n'
        yield "\n" + (lines if known else "".join(f"# {line}\n" for line in lines.splitlines()))
    if "Pelletizer" in kinds:
        yield '\n[[machine]]\nkind = "pelletizer"\n'


def _highest(paths: Sequence[str], start: str) -> int:
    """The highest place number of the tags that begin so; 0 for none."""
    found = (re.match(r"(\d+)\.", p.removeprefix(start)) for p in paths if p.startswith(start))
    return max((int(m[1]) for m in found if m), default=0)


def _plain(text: str) -> str:
    """A foreign text as it may stand in a comment or a key: on one line, and not endless."""
    shown = "".join(c if c.isprintable() else " " for c in text)
    return shown if len(shown) <= _LONGEST else f"{shown[:_LONGEST]}…"
