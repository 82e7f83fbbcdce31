"""Which rules count for which fault, by the number of its entry in the trade's list of faults.

A fault is found when one of its rules says so. Beside it, other rules may say what is true all the same: a
plate that burns out makes the plates uneven. What such a rule says while the fault acts is no false alarm,
but it does not count as found either.

Derived here, from what each rule's text says that it looks for; a rule that is not there yet is listed under
the name that is kept for it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Counting:
    """The rules of one fault.

    Attributes:
        rules: those whose finding counts as found.
        besides: those that see a consequence of it: neither found nor false.
        text: what the fault is, in a few words.
    """

    rules: frozenset[str]
    besides: frozenset[str] = frozenset()
    text: str = ""


def _of(text: str, rules: str, besides: str = "") -> Counting:
    return Counting(frozenset(rules.split()), frozenset(besides.split()), text)


_HEAT = "plates-uneven soak-short plate-out"
_SCREEN = "pressure-creep cleaning-overdue cleaning-frequent pressure-high"

BY_FAULT: Mapping[str, Counting] = {
    # Where a heater of the melt's way is open, the melt grows colder and stiffer, and the die freezes.
    "B1": _of(
        "a heater is open",
        "heater-power",
        _HEAT + " heater-weak die-frozen extruder-cold melt-changed pressure-high",
    ),
    "B2": _of("a heater has lost one of its elements", "heater-weak heater-power", _HEAT),
    "B3": _of("a heater is stuck on", "heater-stuck-on", _HEAT),
    "B4": _of("a sensor is broken", "probe-break sensor-failed", _HEAT + " heater-power"),
    "B5": _of(
        "a thermocouple is shorted, reversed or swapped with another",
        "probe-short probes-swapped",
        _HEAT + " heater-power sensor-failed",
    ),
    "B6": _of("a thermocouple has slipped", "probe-detached heater-power", _HEAT),
    "B7": _of("a start before the soak was over", "soak-short plates-uneven", "extruder-cold"),
    "B8": _of("a plate is out of use", "plate-out", "heater-power plates-uneven"),
    "B9": _of(
        "the heaters' supply is weak or a phase is lost",
        "heater-supply",
        _HEAT + " heater-power heater-weak extruder-cold",
    ),
    "B10": _of("the dip of all plates when melt comes (no fault)", ""),
    "B11": _of(
        "the screen blinds",
        "pressure-creep",
        "cleaning-frequent cleaning-weak cleaning-overdue pressure-high",
    ),
    "B12": _of(
        "the melt is another: thinner, stiffer, warmer",
        "melt-changed",
        "cleaning-frequent pressure-high die-frozen",
    ),
    "B13": _of("more dirt", "dirt-step", _SCREEN),
    # A screen that fills presses melt back into the vent.
    "B14": _of("a cleaning is overdue", "cleaning-overdue", "pressure-high vent-vacuum foaming"),
    "B15": _of("cleanings do little", "cleaning-weak", _SCREEN),
    "B16": _of("the wiper is stalled", "wiper-stalled", _SCREEN + " cleaning-weak wiper-park"),
    "B17": _of("the wiper slips", "wiper-slipping", _SCREEN + " cleaning-weak"),
    "B18": _of("the wiper is not at its park", "wiper-park"),
    "B19": _of("the screen is torn", "screen-torn"),
    "B20": _of("the discharge is blocked", "discharge-blocked", _SCREEN + " cleaning-weak"),
    "B21": _of("the discharge loses melt", "discharge-loss"),
    # What has hung comes down at once, and the screw gets too much for a minute.
    "B22": _of("too little feed", "feed-starved", "pellet-length doser-unweighed drive-overload"),
    "B23": _of("surging", "surging", "pellet-length"),
    "B24": _of("die holes are frozen", "die-frozen", "pressure-high"),
    "B25": _of("the die drools", "die-drool"),
    "B26": _of("knives are worn", "knife-worn"),
    "B27": _of("the knives' contact pressure is lost", "knife-pressure"),
    "B28": _of("pellets of another length", "pellet-length"),
    "B29": _of("process water too hot or too cold", "water-temperature"),
    "B30": _of("too little process water", "water-flow", "water-temperature dryer-overload"),
    "B31": _of("the dryer is overloaded", "dryer-overload"),
    "B32": _of("vent flow, or the vacuum is lost", "vent-vacuum", "foaming"),
    "B33": _of("foaming", "foaming", "vent-vacuum"),
    "B34": _of("a sensor is frozen", "sensor-frozen", "sensor-drift"),
    "B35": _of(
        "a sensor drifts, or its zero is off", "pressure-zero sensor-drift doser-unweighed", "sensor-failed"
    ),
    "B36": _of("samples do not come", "source-silent samples-missing", "recording-gap"),
    "B37": _of("a clock is off", "clock-off"),
    "B38": _of("pressure near its limit", "pressure-high", "cleaning-overdue vent-vacuum foaming"),
    "B39": _of("the drive is overloaded, or started cold", "extruder-cold drive-overload", "soak-short"),
    "B40": _of("the material before is still in the line", "material-residue", "melt-changed"),
}


def as_markdown() -> str:
    """The table for people."""
    rows = [
        f"| {number} | {one.text} | {_listed(one.rules)} | {_listed(one.besides)} |"
        for number, one in BY_FAULT.items()
    ]
    head = ["| fault | what it is | found by | neither found nor false |", "|---|---|---|---|"]
    return "\n".join([*head, *rows]) + "\n"


def _listed(rules: Iterable[str]) -> str:
    return ", ".join(f"`{rule}`" for rule in sorted(rules)) or "–"


def faults_of(rule: str) -> tuple[str, ...]:
    """The numbers of the faults that a rule counts for, in the order of the list."""
    return tuple(number for number, counting in BY_FAULT.items() if rule in counting.rules)


def rules_of(numbers: Iterable[str]) -> frozenset[str]:
    """The rules that count for one of the faults; what is no number of the list has none."""
    return frozenset(rule for n in numbers if n in BY_FAULT for rule in BY_FAULT[n].rules)
