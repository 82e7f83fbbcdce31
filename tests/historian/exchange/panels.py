"""Six files as panels and loggers write them, each with what truly was: invented layouts, usual oddities.

Every file is made from the truth by its own few lines, so that nothing of the reader is used to write it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from historian.frame import NS
from historian.quality import SENSOR_FAILURE

Samples = list[tuple[int, float | None, int]]


@dataclass(frozen=True, slots=True)
class Panel:
    """One file.

    Attributes:
        zone: of its clock.
        content: its bytes.
        truth: tag path → (UTC nanoseconds, value in the tag's unit, quality), in order of time.
        confirmed: what a person changes in the proposed mapping: text there → text instead.
        rejected: line → part of the reason.
        doubts: parts of what the guesser must ask.
    """

    name: str
    zone: str
    content: bytes
    truth: dict[str, Samples]
    confirmed: dict[str, str] = field(default_factory=dict)
    rejected: dict[int, str] = field(default_factory=dict)
    doubts: tuple[str, ...] = ()


def ns(text: str) -> int:
    return round(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()) * NS


def local(time_ns: int, zone: str) -> datetime:
    return datetime.fromtimestamp(time_ns // NS, UTC).astimezone(ZoneInfo(zone))


def wave(k: int, middle: float, height: float, digits: int) -> float:
    return round(middle + height * math.sin(k / 7 + middle), digits)


def comma(value: float, digits: int) -> str:
    return f"{value:.{digits}f}".replace(".", ",")


def filter_panel() -> Panel:
    """Semicolons, decimal commas, cp1252, a head of three lines, minutes through the hour that passes twice."""
    start, zone = ns("2026-10-24T23:20:00"), "Europe/Berlin"
    truth: dict[str, Samples] = {p: [] for p in (
        "filter.inlet.pressure.pv", "extruder.melt.temp.pv", "extruder.screw.speed.pv", "panel.hydraulik.state",
    )}  # fmt: skip
    lines = ["Siebwechsler Linie 2;;;;;;", "Ausdruck vom 26.10.2026 07:00;;;;;;"]
    lines += [
        "Datum;Zeit;Druck vor Sieb [bar(ü)];Massetemperatur [°C];Schneckendrehzahl [U/min];Hydraulik;Siebfeinheit"
    ]
    for k in range(200):
        if 150 <= k < 170:  # the panel was off
            continue
        t = start + k * 60 * NS
        pressure, temp, speed = wave(k, 120, 30, 1), wave(k, 231, 4, 2), wave(k, 88, 3, 1)
        broken = 30 <= k < 33
        shown = "-----" if broken else comma(pressure, 1)
        truth["filter.inlet.pressure.pv"].append((t, None, SENSOR_FAILURE) if broken else (t, pressure, 0))
        truth["extruder.melt.temp.pv"].append((t, temp, 0))
        truth["extruder.screw.speed.pv"].append((t, speed, 0))
        on = k % 40 < 35
        truth["panel.hydraulik.state"].append((t, float(on), 0))
        at = local(t, zone)
        cells = [
            f"{at:%d.%m.%Y}",
            f"{at:%H:%M:%S}",
            shown,
            comma(temp, 2),
            comma(speed, 1),
            "Ein" if on else "Aus",
            "80 mesh",
        ]
        lines.append(";".join(cells))
    lines.append("26.10.2026;24:00:00;1,0;2,0;3,0;Aus;80 mesh")
    return Panel(
        "filter panel", zone, "\r\n".join([*lines, ""]).encode("cp1252"), truth,
        confirmed={
            'tag = "panel.massetemperatur.pv"': 'tag = "extruder.melt.temp.pv"',
            'tag = "panel.schneckendrehzahl.pv"': 'tag = "extruder.screw.speed.pv"',
        },
        rejected={len(lines): "'26.10.2026 24:00:00' is no time"},
        doubts=("mesh is text", "winter time"),
    )  # fmt: skip


def american_logger() -> Panel:
    """UTF-8 with a mark, commas, dates month first with AM and PM, units of the pound, cells that say OVER."""
    start, zone = ns("2026-07-13T15:58:30"), "America/Chicago"
    truth: dict[str, Samples] = {p: [] for p in (
        "extruder.head.pressure.pv", "extruder.zone.3.temp.pv", "panel.output.pv", "panel.specific_energy.pv", "panel.bale_scale.pv",
    )}  # fmt: skip
    lines = [
        "Timestamp,Head pressure (psig),Barrel 3 (°F),Output (lb/hr),Specific energy (kWh/lb),Bale scale (short tons)"
    ]
    for k in range(120):
        t = start + k * 5 * NS
        psi, fahrenheit, pounds, energy, tons = (
            wave(k, 1800, 90, 0),
            wave(k, 420, 6, 1),
            wave(k, 1250, 20, 1),
            wave(k, 0.12, 0.01, 4),
            wave(k, 1.4, 0.2, 3),
        )
        over = k in (40, 41)
        # 1 psi = 6894.757 293 168 Pa and 1 lb = 0.453 592 37 kg (NIST SP 811); the tags of its own keep the file's unit.
        truth["extruder.head.pressure.pv"].append(
            (t, None, SENSOR_FAILURE) if over else (t, psi * 0.06894757293168, 0)
        )
        truth["extruder.zone.3.temp.pv"].append((t, (fahrenheit - 32) / 1.8, 0))
        truth["panel.output.pv"].append((t, pounds, 0))
        truth["panel.specific_energy.pv"].append((t, energy, 0))
        truth["panel.bale_scale.pv"].append((t, tons, 0))
        at = local(t, zone)
        lines.append(
            f"{at:%m/%d/%Y %I:%M:%S %p},{'OVER' if over else f'{psi:.0f}'},{fahrenheit},{pounds},{energy},{tons}"
        )
    lines.insert(60, "07/13/2026 10:63:10 AM,1,2,3,4,5")
    lines.insert(80, '07/13/2026 11:05:00 AM,"1,800",2,3,4,5,6')
    return Panel(
        "american logger", zone, "\n".join([*lines, ""]).encode("utf-8-sig"), truth,
        rejected={61: "is no time", 81: "7 cells, more than the header has"},
        doubts=("meets no tag of the catalogue",),
    )  # fmt: skip


def variable_archive() -> Panel:
    """The long form with tabs in UTF-16, a quality and a unit a row, begun within the second of the two hours."""
    start, zone = ns("2026-10-25T01:10:00"), "Europe/Madrid"
    truth: dict[str, Samples] = {"pump.inlet.pressure.pv": [], "pump.speed.pv": []}
    lines = ["VarName\tTimeString\tVarValue\tUnit\tValidity"]
    for k in range(90):
        t = start + k * 60 * NS
        at = f"{local(t, zone):%Y-%m-%d %H:%M:%S}"
        mega, speed = wave(k, 6.5, 1, 3), wave(k, 42, 2, 2)
        doubtful = k % 30 == 29
        truth["pump.inlet.pressure.pv"].append((t, mega * 10, 0x4000_0000 if doubtful else 0))
        truth["pump.speed.pv"].append((t, speed, 0))
        lines.append(f"P_Pumpe_Ein\t{at}\t{comma(mega, 3)}\tMPa(g)\t{'2' if doubtful else '1'}")
        lines.append(f"n_Pumpe\t{at}\t{comma(speed, 2)}\tU/min\t1")
    lines.insert(
        51, f"P_Pumpe_Ein\t{local(start + 1500 * NS + NS, zone):%Y-%m-%d %H:%M:%S}\t7,000\tbar(a)\t1"
    )
    lines.insert(61, f"Rezeptur\t{local(start + 1800 * NS, zone):%Y-%m-%d %H:%M:%S}\tABS\t\t1")
    return Panel(
        "variable archive", zone, "\r\n".join([*lines, ""]).encode("utf-16"), truth,
        confirmed={
            'tag = "panel.p_pumpe_ein.pv"': 'tag = "pump.inlet.pressure.pv"',
            'tag = "panel.n_pumpe.pv"': 'tag = "pump.speed.pv"',
        },
        rejected={52: "never mixed"},
        doubts=("'Rezeptur' is text", "1 as good, 2 as uncertain"),
    )  # fmt: skip


def doser_report() -> Panel:
    """A line of units, day first without seconds, points for thousands, rows that stand twice and are corrected."""
    start, zone = ns("2026-05-11T06:00:00"), "Europe/Madrid"
    truth: dict[str, Samples] = {"doser.rate.pv": [], "doser.weight.pv": [], "panel.consumo.pv": []}
    lines = [
        "Informe del dosificador",
        "",
        "Fecha y hora;Doser feed rate;Doser hopper net weight;Consumo",
        "dd/mm/aaaa hh:mm;kg/h;kg;kWh",
    ]
    rows: list[str] = []
    for k in range(150):
        t = start + k * 60 * NS
        rate, weight, energy = wave(k, 1180, 60, 1), wave(k, 940, 300, 1), 12_345.5 + k / 2
        for path, value in zip(truth, (rate, weight, energy), strict=True):
            truth[path].append((t, value, 0))
        at = local(t, zone)
        rows.append(";".join([f"{at:%d/%m/%Y %H:%M}", *(_spanish(v, 1) for v in (rate, weight, energy))]))
    # One row stands twice alike, and one with a first value that a later row corrects.
    rows.insert(31, rows[30])
    wrong = rows[61].replace(";", ";9", 1)
    rows.insert(61, wrong)
    lines += rows
    at = lines.index(wrong) + 1
    return Panel(
        "doser report", zone, "\n".join([*lines, ""]).encode("utf-8"), truth,
        rejected={at: "is overwritten by"}, doubts=("winter time",),
    )  # fmt: skip


def _spanish(value: float, digits: int) -> str:
    return f"{value:,.{digits}f}".replace(",", " ").replace(".", ",").replace(" ", ".")


def vacuum_recorder() -> Panel:
    """Bars between the cells, stamps with their own offset to the millisecond, vacuum absolute, a difference."""
    start = ns("2026-03-29T00:59:58") + 250_000_000
    truth: dict[str, Samples] = {"extruder.vent.1.pressure.pv": [], "panel.delta_melt_barrel.pv": []}
    lines = ["Zeitstempel | Extruder vent 1 vacuum (mbar abs) | delta melt barrel (Δ°F) | Sieb mesh"]
    for k in range(60):
        t = start + k * NS // 4
        vacuum, delta = wave(k, 45, 12, 2), wave(k, -9, 20, 1)
        truth["extruder.vent.1.pressure.pv"].append((t, vacuum, 0))
        truth["panel.delta_melt_barrel.pv"].append((t, delta, 0))
        at = local(t, "Europe/Berlin")
        lines.append(
            f"{at:%Y-%m-%dT%H:%M:%S}.{t % NS // 1_000_000:03d}{at:%z} | {vacuum:.2f} | {delta:.1f} | {'60' if k % 2 else '80'}"
        )
    return Panel(
        "vacuum recorder", "Europe/Berlin", "\n".join(lines).encode("utf-8"), truth, doubts=("mesh is text",)
    )  # fmt: skip


def service_dump() -> Panel:
    """No header, milliseconds since 1970, the newest row first, fields that are empty where nothing was logged."""
    start = 1_783_000_000_123_000_000
    truth: dict[str, Samples] = {"die.pressure.pv": [], "water.temp.pv": []}
    lines = []
    for k in range(80):
        t = start + k * 2 * NS
        pressure, temp = wave(k, 61, 9, 2), wave(k, 68, 2, 1)
        truth["die.pressure.pv"].append((t, pressure, 0))
        if k % 4 == 0:
            truth["water.temp.pv"].append((t, temp, 0))
        lines.append(f"{t // 1_000_000},{pressure},{temp if k % 4 == 0 else ''}")
    return Panel(
        "service dump", "UTC", "\n".join(lines[::-1]).encode("ascii"), truth,
        confirmed={
            'tag = "panel.column_2.pv"\nunit = "1"': 'tag = "die.pressure.pv"\nunit = "bar"\nreference = "gauge"',
            'tag = "panel.column_3.pv"\nunit = "1"': 'tag = "water.temp.pv"\nunit = "Cel"',
        },
        doubts=("the file says no unit",),
    )  # fmt: skip


def panels() -> Iterator[Panel]:
    """All six."""
    for make in (
        filter_panel,
        american_logger,
        variable_archive,
        doser_report,
        vacuum_recorder,
        service_dump,
    ):
        yield make()
