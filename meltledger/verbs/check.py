"""``meltledger check``: find faults in a line's file without starting anything."""

from __future__ import annotations

import json
import os
import time
from pathlib import Path

import click

from meltledger.cli import FOUND
from meltledger.config import LineConfig, load
from meltledger.confirming import to_confirm
from meltledger.errors import LineFileWrong
from meltledger.linefile import OpcUaSection
from meltledger.posting import digest_notes
from meltledger.register import load_register
from meltledger.stores import store_notes


@click.command("check", help="Find faults in a line's file without starting anything.")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Machine output.")
def command(file: Path, as_json: bool) -> int:
    """Print every fault of the file and of its register of sensors; exit with 1 when there is one."""
    try:
        config = load(file)
        load_register(config)
    except LineFileWrong as wrong:
        faults = [
            {"file": str(wrong.path), "line": f.line, "key": f.key, "text": f.text} for f in wrong.faults
        ]
        click.echo(json.dumps(faults) if as_json else str(wrong))
        if not as_json:
            click.echo(f"{len(faults)} fault{'s' if len(faults) != 1 else ''} found")
        return FOUND
    warnings = list(_warnings(config))
    if as_json:
        click.echo(json.dumps([]))
    else:
        for text in warnings:
            click.echo(f"{file}: {text}")
        click.echo(
            f"{file}: no fault found; {len(config.tags)} tags from {len(config.file.source)} source(s)"
        )
    return 0


def _warnings(config: LineConfig) -> list[str]:
    """What is no fault but worth knowing before the start."""
    found = []
    folder = config.folder
    nearest = next(p for p in [folder, *folder.parents] if p.exists())
    if not os.access(nearest, os.W_OK):
        found.append(f"note: {nearest} cannot be written by this user; `meltledger run` will need to")
    found += [f"note: {text}" for text in store_notes(config)]
    found += [f"note: {text}" for text in digest_notes(config)]
    found += [f"note: {text}" for source in config.file.source for text in source.notes()]
    if any(isinstance(s, OpcUaSection) and s.is_guarded for s in config.file.source):
        from meltledger.access import access_notes

        found += [f"note: {text}" for text in access_notes(config, time.time_ns())]
    if config.facts.melt_filter is not None and config.facts.melt_filter.trigger_dp_bar is None:
        found.append(
            "note: no cleaning because of load on filter.dp.calc is given, so an overdue one is not judged"
        )
    return [*found, *to_confirm(config)]
