"""``meltledger rules``: the rationalisation table of a line's rules."""

from __future__ import annotations

import csv
import io
import json
import time
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

import click

from historian.errors import StoreReadOnly
from meltledger.config import LineConfig, load
from meltledger.measured import all_tags
from meltledger.workbook import Cell, Sheet, write_workbook
from rules.detectors import detectors_for
from rules.table.rationalisation import COLUMNS, Rationalised, rationalised


@click.command("rules", help="Show every rule of a line: cause, action, numbers, and whose they are.")
@click.argument("line", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Machine output.")
@click.option("--csv", "as_csv", type=click.Path(path_type=Path), help="Write it as CSV; - prints it.")
@click.option("--excel", type=click.Path(path_type=Path), help="Write it as an Excel workbook.")
def command(line: Path, as_json: bool, as_csv: Path | None, excel: Path | None) -> int:
    """Print the table, or write it where that is asked for."""
    config = load(line)
    rules = rules_of(config)
    if as_json:
        click.echo(json.dumps([r.to_json() for r in rules], ensure_ascii=False))
    if as_csv is not None:
        _write_csv(as_csv, rules)
    if excel is not None:
        write_workbook(excel, {"rules": _sheet(rules), "about": _about(config, line)})
    for written in (as_csv, excel):
        if written is not None and str(written) != "-":
            click.echo(f"{written}: {len(rules)} rules", err=True)
    if not (as_json or as_csv or excel):
        for rule in rules:
            click.echo(_block(rule))
    return 0


def rules_of(config: LineConfig) -> list[Rationalised]:
    """Every rule as it is set on the line."""
    tags = {t.path: t for t in all_tags(config)}
    return rationalised(config.facts, {d.rule for d in detectors_for(config.facts, tags)})


def _block(rule: Rationalised) -> str:
    row = rule.row()
    widest = max(len(heading) for heading in COLUMNS.values())
    lines = [f"  {COLUMNS[key]:<{widest}}  {text}" for key, text in row.items() if key != "rule"]
    return "\n".join([row["rule"], *lines, ""])


def _sheet(rules: Sequence[Rationalised]) -> Sheet:
    return Sheet(list(COLUMNS.values()), [list(r.row().values()) for r in rules])


def _about(config: LineConfig, line: Path) -> Sheet:
    made = datetime.fromtimestamp(time.time(), UTC)
    rows: list[list[Cell]] = [
        ["line", config.facts.name, None],
        ["file", str(line), None],
        ["written (UTC)", None, made],
    ]
    return Sheet(["what", "is", "time (UTC)"], rows)


def _write_csv(path: Path, rules: Sequence[Rationalised]) -> None:
    text = io.StringIO()
    out = csv.writer(text, lineterminator="\n")
    out.writerow(COLUMNS.values())
    out.writerows(r.row().values() for r in rules)
    if str(path) == "-":
        click.echo(text.getvalue(), nl=False)
        return
    try:
        path.write_text(text.getvalue(), encoding="utf-8")
    except OSError as error:
        raise StoreReadOnly(f"{path}: cannot be written ({error}); name another file") from error
