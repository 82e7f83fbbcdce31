"""Made-up faults, findings and records, in seconds after the tests' time zero."""

from __future__ import annotations

from collections.abc import Iterable

from historian.frame import NS
from rules.backtest.said import Record, Said
from rules.backtest.truth import Truth
from rules.finding import Blind, Priority

T0_NS = 1_900_000_000 * NS
HOUR_S = 3600.0


def at(seconds: float) -> int:
    """A time."""
    return T0_NS + round(seconds * NS)


def fault(
    id: str = "plate",
    number: str = "B1",
    onset_s: float = 1000.0,
    end_s: float | None = 2800.0,
    *,
    visible_s: float | None = 1030.0,
    within_s: float | None = 360.0,
    tags: tuple[str, ...] = ("filter.plate.3.temp.pv", "filter.plate.3.i"),
    placed: bool = True,
    not_for: Iterable[str] = (),
) -> Truth:
    """Plate 3 burns out at 1000 s, can be seen at 1030 s, is due at 1390 s, over at 2800 s."""
    end = None if end_s is None else at(end_s)
    visible = None if visible_s is None else at(visible_s)
    return Truth(
        id, number, at(onset_s), end, visible, within_s, tags, placed=placed, not_for=frozenset(not_for)
    )


def quiet(id: str, from_s: float, until_s: float) -> Truth:
    """A stretch that must stay quiet."""
    return Truth(id, "", at(from_s), at(until_s), None, quiet=True)


def said(
    rule: str = "heater-power",
    subject: str = "filter.plate.3",
    found_s: float = 1100.0,
    priority: Priority = Priority.MEDIUM,
    *,
    tags: tuple[str, ...] = (),
    root: tuple[str, str] | None = None,
    late: bool = False,
    heard_s: float | None = None,
) -> Said:
    """A finding."""
    heard_ns = None if heard_s is None else at(heard_s)
    return Said(rule, subject, at(found_s), None, priority, tags, root, late, heard_ns)


def record(
    *those: Said,
    blind: Iterable[Blind] = (),
    rules: Iterable[str] = ("heater-power", "heater-weak", "screen-torn", "plates-uneven"),
    hours: float = 2.0,
) -> Record:
    """A record of two hours."""
    return Record(those, tuple(blind), (), frozenset(rules), at(0), at(hours * HOUR_S))


def blind(rule: str, from_s: float, to_s: float, subject: str = "") -> Blind:
    """A spell in which a rule could not judge."""
    return Blind(rule, subject, at(from_s), at(to_s), "melt stands")
