"""All checks of a material before its trial, in the order in which people ask."""

from __future__ import annotations

from rules.line import LineFacts
from trials.outcome.facts import facts_of
from trials.preanalysis.check import Check
from trials.preanalysis.dosing import dosing_checks
from trials.preanalysis.hazards import hazard_checks
from trials.preanalysis.limits import LineLimits
from trials.preanalysis.pressure import screen_checks
from trials.preanalysis.temperatures import peaks_of, planned_of, temperature_checks
from trials.preanalysis.venting import venting_check
from trials.record.book import Book
from trials.record.entries import What
from trials.results import results_of


def checks_of(book: Book, line: LineFacts, limits: LineLimits) -> list[Check]:
    """What the record says of the material against what the line can do.

    Args:
        book: material, plan, results and assessments are read; the newest screen that was written down stands
            for the one that will be used, else that of the line's file.
    """
    results = results_of(book.standing)
    material = book.only(What.MATERIAL)
    screens = book.all_of(What.SCREEN)
    serial = str(screens[-1].data["serial"]) if screens else ""
    planned = planned_of(book)
    melt_cel = planned.melt if planned is not None else None
    facts = facts_of(book, line, screen=serial, lot="", melt_cel=melt_cel)
    most = limits.most_pressure
    if most is None and line.melt_filter is not None:
        most = line.melt_filter.trigger_dp_bar
    return [
        *hazard_checks(book),
        *dosing_checks(results, str(material.get("form", "")), facts.planned_kg_h, limits),
        venting_check(results, facts.planned_kg_h, limits),
        *screen_checks(book, facts, melt_cel, most, limits),
        *temperature_checks(peaks_of(book), planned, limits),
    ]
