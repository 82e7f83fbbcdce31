"""Whether the planned temperatures lie between the melting peaks and what the material is given at most."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from historian.errors import MeltledgerError
from historian.units import quantity
from trials.forms.forms import measured
from trials.forms.measures import Of
from trials.preanalysis.check import Check, Verdict, held_to_least, held_to_most
from trials.preanalysis.limits import LineLimits
from trials.record.book import Book
from trials.record.entries import What

_CAUTION = (
    "Peaks are those of a few milligrams: a small share of another polymer may not show, and amorphous ones "
    "have no peak."
)
_BARREL = "extruder.zone."
_PLACES = (_BARREL, "filter.", "die.")


@dataclass(frozen=True, slots=True)
class Planned:
    """Planned set-points of temperatures, Cel.

    Attributes:
        lowest: of filter, die, and the hottest barrel zone: a barrel's first zones are cold on purpose.
        highest: of all.
        melt: what the melt is taken to have: the mean of filter and die, else of the hottest barrel zone.
    """

    lowest: float
    highest: float
    melt: float


def planned_of(book: Book) -> Planned | None:
    """The set-points of the plan; None: it has none."""
    written = book.only(What.PLAN).get("settings", {})
    found: dict[str, float] = {}
    for path, value in written.items() if isinstance(written, Mapping) else ():
        if str(path).startswith(_PLACES) and str(path).endswith(".temp.sp"):
            try:
                found[str(path)] = quantity(str(value), "Cel")
            except MeltledgerError:
                continue  # the plan may say "as last time"
    if not found:
        return None
    barrel = [v for p, v in found.items() if p.startswith(_BARREL)]
    after = [v for p, v in found.items() if not p.startswith(_BARREL)]
    at_screen = after or [max(barrel)]
    hot = [*after, *([max(barrel)] if barrel else [])]
    return Planned(min(hot), max(found.values()), sum(at_screen) / len(at_screen))


def peaks_of(book: Book) -> list[float]:
    """All melting peaks of the feed, Cel, rising; of another polymer too."""
    found = set()
    for entry in (*book.all_of(What.PRE_ANALYSIS), *book.all_of(What.RESULT)):
        usual = Of.FEED if entry.what is What.PRE_ANALYSIS else Of.PELLETS
        if entry.data.get("what") == "melting-peak" and str(entry.data.get("of", usual)) == Of.FEED:
            value, less = measured("melting-peak", str(entry.data["value"]), Of.FEED)
            if not less:
                found.add(value)
    return sorted(found)


def temperature_checks(peaks: list[float], planned: Planned | None, limits: LineLimits) -> list[Check]:
    """The lowest set-point against the highest peak, the highest one against the site's highest."""
    return [_above(peaks, planned, limits), _below(planned, limits)]


def _above(peaks: list[float], planned: Planned | None, limits: LineLimits) -> Check:
    name = "temperature above melting"
    lacks = []
    if not peaks:
        lacks.append("melting peaks (DSC) were not measured; they come before a trial")
    if planned is None:
        lacks.append("no set-point of a temperature is planned")
    if lacks or planned is None:
        sentence = f"Whether all of it melts is not known: {'; '.join(lacks)}."
        return Check(name, Verdict.NOT_KNOWN, sentence, _CAUTION, unit="Cel")
    margin = limits.above_melting or 0.0
    limit = peaks[-1] + margin
    said = f", and {margin:.0f} K above that are asked for" if margin else ""
    shown = ", ".join(f"{p:.0f}" for p in peaks)
    sentence = (
        f"Melting peaks at {shown} °C{said}; the lowest set-point of hottest barrel zone, filter and die is "
        f"{planned.lowest:.0f} °C."
    )
    verdict = held_to_least(planned.lowest, planned.lowest, limit)
    return Check(
        name, verdict, sentence, _CAUTION, planned.lowest, planned.lowest, planned.lowest, limit, "Cel"
    )


def _below(planned: Planned | None, limits: LineLimits) -> Check:
    name, limit = "temperature below the highest", limits.most_temperature
    if planned is None:
        sentence = "Whether any set-point is too hot is not known: no set-point of a temperature is planned."
        return Check(name, Verdict.NOT_KNOWN, sentence, _CAUTION, unit="Cel")
    hot = planned.highest
    told = "no highest is told for this material" if limit is None else f"the highest is {limit:.0f} °C"
    sentence = f"The highest set-point is {hot:.0f} °C; {told}. The melt may be hotter than any set-point."
    return Check(name, held_to_most(hot, hot, limit), sentence, _CAUTION, hot, hot, hot, limit, "Cel")
