"""How much water comes with the feed, against what the vents have taken."""

from __future__ import annotations

from collections.abc import Sequence

from process.moisture import steam_m3_h, water_kg_h
from trials.forms.measures import Of
from trials.preanalysis.check import Check, Verdict, held_to_most, range_of
from trials.preanalysis.limits import LineLimits
from trials.results import LabResult

_CAUTION = "Moisture is that of the sample, at its time: material that stands open takes up more."
_AIR_BAR, _BOILING_CEL = 1.013, 100.0


def venting_check(results: Sequence[LabResult], planned_kg_h: float | None, limits: LineLimits) -> Check:
    """Water with the feed; by the wettest of the results."""
    found = [r for r in results if r.what == "moisture" and r.of is Of.FEED]
    if not found:
        sentence = (
            "Moisture was not measured: whether the vents take the steam is not known. "
            "It comes before a trial."
        )
        return Check("venting", Verdict.NOT_KNOWN, sentence, _CAUTION, unit="kg/h")
    wettest = max(found, key=lambda r: r.value)
    if planned_kg_h is None:
        sentence = "How much water comes with the feed is not known: no throughput is planned."
        return Check("venting", Verdict.NOT_KNOWN, sentence, _CAUTION, unit="kg/h")
    low, high = (water_kg_h(percent, planned_kg_h) for percent in range_of(wettest))
    value, limit = water_kg_h(wettest.value, planned_kg_h), limits.vent_water
    sign = "at most " if wettest.less_than else ""
    told = "what the vents take is not told" if limit is None else f"the vents have taken {limit:.3g} kg/h"
    sentence = (
        f"{sign}{wettest.value:.3g} % of {planned_kg_h:.0f} kg/h are {sign}{value:.3g} kg/h of water, as "
        f"steam {steam_m3_h(value, _AIR_BAR, _BOILING_CEL):.2g} m³/h at 100 °C and the pressure of the air; "
        f"{told}."
    )
    sentence = sentence[0].upper() + sentence[1:]
    return Check(
        "venting", held_to_most(low, high, limit), sentence, _CAUTION, value, low, high, limit, "kg/h"
    )
