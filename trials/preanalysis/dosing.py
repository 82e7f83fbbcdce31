"""Whether the material can be dosed: room that it takes up, and whether it bridges."""

from __future__ import annotations

from collections.abc import Sequence

from trials.forms.measures import Of
from trials.preanalysis.check import Check, Verdict, held_to_least, held_to_most, range_of
from trials.preanalysis.limits import LineLimits
from trials.results import LabResult

INTERLOCKING = ("film", "fibre", "fiber", "fluff", "foil", "flake", "agglomerate", "strip")
"""Forms of delivery that hook into each other and bridge. common practice, no source."""

_CAUTION = (
    "A bulk density from a small vessel is not that of a full hopper; it falls with long or wet pieces."
)
_UNMEASURED = "Bulk density was not measured: whether the doser moves enough of it is not known."


def dosing_checks(
    results: Sequence[LabResult], form: str, planned_kg_h: float | None, limits: LineLimits
) -> list[Check]:
    """Volume to be dosed, and bridging; by the lightest of the results.

    Args:
        form: of delivery, as the customer calls it; empty when not told.
    """
    found = [r for r in results if r.what == "bulk-density" and r.of is Of.FEED and not r.less_than]
    if not found:
        return [
            Check(name, Verdict.NOT_KNOWN, _UNMEASURED + " It comes before a trial.", _CAUTION, unit="kg/m3")
            for name in ("dosing", "bridging")
        ]
    lightest = min(found, key=lambda r: r.value)
    return [_volume(lightest, planned_kg_h, limits), _bridging(lightest, form, limits)]


def _volume(lightest: LabResult, planned_kg_h: float | None, limits: LineLimits) -> Check:
    low, high = range_of(lightest)
    if planned_kg_h is None or not low > 0:
        why = (
            "no throughput is planned" if planned_kg_h is None else "the bulk density may be next to nothing"
        )
        sentence = f"How much room the feed takes up is not known: {why}."
        return Check("dosing", Verdict.NOT_KNOWN, sentence, _CAUTION, unit="m3/h")
    value, least, most = (planned_kg_h / d for d in (lightest.value, high, low))
    limit = limits.doser_volume
    verdict = held_to_most(least, most, limit)
    told = (
        "what the doser moves is not told" if limit is None else f"the doser moves {limit:.3g} m³/h at most"
    )
    wide = f" ({least:.3g} to {most:.3g})" if most > least else ""
    sentence = f"{planned_kg_h:.0f} kg/h of {lightest.value:.0f} kg/m³ are {value:.3g} m³/h{wide}; {told}."
    return Check("dosing", verdict, sentence, _CAUTION, value, least, most, limit, "m3/h")


def _bridging(lightest: LabResult, form: str, limits: LineLimits) -> Check:
    low, high = range_of(lightest)
    limit = limits.least_bulk_density
    verdict = held_to_least(low, high, limit)
    hooks = next((word for word in INTERLOCKING if word in form.casefold()), None)
    told = (
        "below which bulk density this hopper bridges is not told"
        if limit is None
        else f"below {limit:.0f} kg/m³ this hopper has bridged"
    )
    sentence = f"The bulk density is {lightest.value:.0f} kg/m³; {told}."
    if hooks is not None:
        sentence += f" It comes as {form}: such pieces hook into each other, so it may bridge above that too."
    return Check("bridging", verdict, sentence, _CAUTION, lightest.value, low, high, limit, "kg/m3")
