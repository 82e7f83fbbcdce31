"""``meltledger calibration``: how a line's sensors stand with their checks, and a new check."""

from __future__ import annotations

import json
import time
from datetime import UTC, date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import click

from historian.errors import WrongInput
from historian.sensors.register import Check, Register, Sensor, Standing, day_ns
from meltledger.cli import FOUND
from meltledger.config import LineConfig, load
from meltledger.register import add_check, load_register, register_path


@click.group(
    "calibration",
    invoke_without_command=True,
    subcommand_metavar="[add TAG]",
    help="Show which sensors of a line are to be checked; with add, record a check.",
)
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Machine output.")
@click.pass_context
def command(context: click.Context, file: Path, as_json: bool) -> int:
    """Print every sensor; exit with 1 when one is overdue or was never checked."""
    context.obj = file
    if context.invoked_subcommand is not None:
        return 0
    config = load(file)
    register, now_ns = load_register(config), time.time_ns()
    stands = [(register.standing(s, now_ns), s) for s in register.fitted(now_ns)]
    stands.sort(key=lambda pair: list(Standing).index(pair[0][0]))
    rows = [_row(register, sensor, *standing) for standing, sensor in stands]
    if as_json:
        click.echo(json.dumps({"register": str(register_path(config)), "sensors": rows}))
    else:
        _tell(config, rows)
    return FOUND if any(stand in (Standing.NEVER, Standing.OVERDUE) for (stand, _), _ in stands) else 0


@command.command("add", help="Record a check of the sensor that measures TAG, at the end of the register.")
@click.argument("tag")
@click.option("--date", "day", help="Day of the check, such as 2026-03-02; today when left out.")
@click.option("--by", required=True, help="Who did it.")
@click.option("--found", multiple=True, help="A row before adjusting, REFERENCE:READING; once for each row.")
@click.option("--left", multiple=True, help="A row after adjusting, REFERENCE:READING; once for each row.")
@click.option("--unit", help="Unit of the rows; that of the tag when left out.")
@click.option("--zero", help='Reading without load before adjusting, such as "0.4 bar".')
@click.option("--reference", help='Expanded uncertainty (coverage factor 2) of the reference: "0.1 bar".')
@click.option("--certificate", help="Number of the certificate.")
@click.option("--serial", help="Serial number; the sensor that is fitted on that day when left out.")
@click.pass_obj
def add(
    file: Path,
    tag: str,
    day: str | None,
    by: str,
    found: tuple[str, ...],
    left: tuple[str, ...],
    unit: str | None,
    zero: str | None,
    reference: str | None,
    certificate: str | None,
    serial: str | None,
) -> int:
    """Add the check, or say why not and leave the register as it is."""
    config = load(file)
    on = _day(day, config)
    given = {
        "serial": _sensor(config, tag, on, serial).serial,
        "date": on,
        "by": by,
        "certificate": certificate,
        "unit": unit,
        "as_found": [_points(row) for row in found],
        "as_left": [_points(row) for row in left],
        "zero": zero,
        "reference": reference,
    }
    entry = {key: value for key, value in given.items() if value}
    add_check(config, entry)
    click.echo(f"{register_path(config)}: check of {entry['serial']} at {tag} on {on} added")
    return 0


def _sensor(config: LineConfig, tag: str, day: date, serial: str | None) -> Sensor:
    """The sensor that is meant: the one with that number, or the one that is fitted on that day."""
    register = load_register(config)
    if serial is None:
        sensor = register.sensor_at(tag, day_ns(day))
    else:
        sensor = next((s for s in register.sensors if (s.tag, s.serial) == (tag, serial)), None)
    if sensor is None:
        which = f"on {day}" if serial is None else f"with the serial number '{serial}'"
        raise WrongInput(
            f"{register_path(config)}: no sensor measures '{tag}' {which}; describe it there in a [[sensor]]"
        )
    return sensor


def _day(text: str | None, config: LineConfig) -> date:
    today = datetime.now(ZoneInfo(config.file.line.zone)).date()
    if text is None:
        return today
    try:
        day = date.fromisoformat(text)
    except ValueError as error:
        raise WrongInput(f"--date {text[:40]}: write the day as 2026-03-02") from error
    if day > today:
        raise WrongInput(f"--date {text}: a check is recorded when it was done; that day is still to come")
    return day


def _points(text: str) -> list[float]:
    reference, _, reading = text.partition(":")
    try:
        return [float(reference), float(reading)]
    except ValueError as error:
        raise WrongInput(f"'{text[:40]}' is no row; write REFERENCE:READING, such as 100:100.8") from error


def _row(register: Register, sensor: Sensor, standing: Standing, due_ns: int | None) -> dict[str, object]:
    checks = register.checks_of(sensor)
    return {
        "tag": sensor.tag,
        "serial": sensor.serial,
        "type": sensor.kind,
        "standing": str(standing),
        "due": _date(due_ns),
        "checks": len(checks),
        "last": _last(checks),
    }


def _last(checks: list[Check]) -> dict[str, str] | None:
    if not checks:
        return None
    last = checks[-1]
    return {"date": last.day.isoformat(), "by": last.by, "certificate": last.certificate}


def _date(time_ns: int | None) -> str | None:
    return None if time_ns is None else datetime.fromtimestamp(time_ns // 10**9, UTC).date().isoformat()


def _tell(config: LineConfig, rows: list[dict[str, object]]) -> None:
    for row in rows:
        due = f", due {row['due']}" if row["due"] else ""
        click.echo(f"{row['standing']}: {row['tag']}, sensor {row['serial']}{due}")
    known = {row["tag"] for row in rows}
    others = [t.path for t in config.tags if t.path.endswith(".pv") and t.path not in known]
    if others:
        number = f"{len(others)} tag{'s' if len(others) != 1 else ''}"
        click.echo(f"not in the register, a default accuracy is assumed: {number}, such as {others[0]}")
    click.echo(f"{register_path(config)}: {len(rows)} sensor{'s' if len(rows) != 1 else ''}")
