"""Sentences of the figures in the language of a report: each is found again by its pattern. Pure.

The figures say in English what they are, how they were found and why one is absent, with tags and numbers set
in. Here stand the patterns of these sentences; what follows none of them stays as it was written.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Final

from trials.report.names import name_of_figure, name_of_path
from trials.report.speech import Speech, marked

_PATTERNS: Final = (
    # Why a figure is absent.
    marked("there is no window to look at"),
    marked("{path} is not recorded"),
    marked("{path} has no good sample in the window"),
    marked("{path} is known for {n} % of the window only"),
    marked("{path} has {n} good samples in the window only"),
    marked("{path} was not counted over {n} minutes of the window on end"),
    marked("{path} fell in the window"),
    marked("the set-point of {path} is not recorded"),
    marked("{n} whole cleaning periods lie in the window; {m} are needed"),
    marked("{n} complete cleanings lie in the window; {m} are needed"),
    marked("{n} whole rises lie in the window; {m} are needed"),
    marked("no complete cleaning lies in the window"),
    marked("there is hardly any pressure above that of the clean screen to take away"),
    marked("the discharge scale is known over {n} whole periods; {m} are needed"),
    marked("the discharge scale fell from one cleaning to the next"),
    marked("the throughput of {flow} is below {least_flow}"),
    marked("the process water does not return warmer than it came"),
    marked("fewer than two readings of the throughput are known"),
    marked("the knives stood"),
    marked("the screw stood"),
    marked("no energy was brought in"),
    marked("the heat capacity of the material is not told"),
    marked("the nominal power of the heaters is not told"),
    marked("what of the drive's power reaches the melt is not told"),
    marked("the density is not told"),
    marked("the density of the melt is not told"),
    marked("die plate and knives are not told"),
    marked("the share of dirt in the feed is not told"),
    marked("the share of dirt in the discharge is not told"),
    marked("the share of dirt in the pellets is not told"),
    marked("the pressure over the clean screen is not told"),
    marked("the screen's area is not told"),
    marked("the screen's area is not above zero"),
    marked("the screen's holes are not told"),
    marked("the sizes of the screen's holes or the melt's density give no viscosity"),
    marked("the melt's power law is not told"),
    marked("the melt's power-law exponent is not told"),
    marked("the melt's power-law exponent is not above zero"),
    marked("the melt's viscosity and density are not told"),
    marked("no reference throughput and temperature are told"),
    marked("the die pressure is below {pressure}"),
    marked("no dirt came with the feed"),
    marked("the balance of dirt is {n} % open, more than {m} %"),
    marked("{n} cycles rise by {pressure} or more and are known throughout; {m} are needed"),
    marked("the pressure rises unlike any of the laws, or too unevenly"),
    marked("{n} samples were taken in the window, {m} are needed, and {clause}"),
    marked("no rules judged this trial"),
    marked("the window is shorter than ten minutes"),
    marked("the windows are too short for the test's filters to settle, or nothing moves"),
    marked("these values give no number"),
    marked("it is less certain than it is large"),
    # What limits a figure.
    marked("Indicative: known for {n} % of the time only."),
    marked("No uncertainty is stated: none is known of {paths}."),
    marked("Of {reading} and {other}."),
    marked("The readings lie {n} % apart: which of them is right is not known."),
    marked("Good to about 8 %, and only if both water probes read alike without melt."),
    marked("All holes are taken as open; the swell of the strand is an assumption until it is calibrated."),
    marked("{n} samples; the uncertainty is their scatter, not that of the method."),
    marked("The moisture of the feed is not known: its steam is in this figure."),
    marked("It is more than the uncertainty of the readings explains."),
    marked("It resembles the filter pressure value of EN 13900-5; it is not that test."),
    marked("Melt cannot take up more than was brought in: a power, a flow or the heat capacity is wrong."),
    marked("The die pressure is not known: a stiffer melt would look like a lasting rise."),
    marked("Slow waves lower it, however small they are beside what matters."),
    marked("95 % interval {n} to {m} over {k} cycles."),
    marked("The law: {law}."),
    marked("From {n} samples of a zone or more; hottest {path}, coldest {other_path}."),
    # Why figures are indicative.
    marked("There is no steady time: {clause}."),
    marked("Steady for {n} min; {m} min are asked for."),
    marked("{n} whole cleaning periods; {m} are asked for."),
    marked("{path} is known for {n} % of the time."),
    marked("{n} pellet samples; {m} are asked for."),
    marked("Which screen was in use is not told."),
    marked("A clock was set, and nobody has confirmed by how much."),
    # Which law the screen follows.
    marked("not told apart: the pressure rises unlike any of the laws"),
    marked("cake: dirt lies on the screen"),
    marked("intermediate: dirt lies on the screen"),
    marked("cake or intermediate: dirt lies on the screen"),
    marked("standard: dirt sits in the holes, wiping takes little of it"),
    marked("complete: dirt sits in the holes, wiping takes little of it"),
    marked("intermediate: dirt sits in the holes, wiping takes little of it"),
    marked("standard or complete: dirt sits in the holes, wiping takes little of it"),
    marked("intermediate or standard or complete: dirt sits in the holes, wiping takes little of it"),
    marked("not told apart: {laws}"),
    # Why time does not count.
    marked("the material was changed"),
    marked("another lot was on its way through"),
    marked("the screen was torn"),
    marked("a heater plate was out of use"),
    # Why nothing is scaled up.
    marked("The {figure} is not known: {clause}."),
    marked("The fineness of the screen is not told."),
    marked("No whole cleaning period lies in the steady window."),
    marked("The pressure difference does not rise and fall with the cleanings."),
    marked(
        "The screen followed another law than a cake ({law}): the rule for the interval holds for a cake "
        "only."
    ),
    marked(
        "The power-law exponent of the melt is not told: measure its melt flow rate at two loads and one "
        "temperature, or write it down as exponent."
    ),
    marked("These figures give no area."),
    # How figures were found.
    marked("Mean by time, gaps not counted."),
    marked("Not above it for 5 % of the time."),
    marked("Not above it for 95 % of the time."),
    marked("Highest good sample."),
    marked("What the scale counted between its first and last sample of the window, over that time."),
    marked("Mean feed by time; dirt, water and what is discharged are in it."),
    marked("Heat that the process water took up over what a kilogram of melt gives."),
    marked("Mean of the two readings that are nearest to each other."),
    marked("Mean feed over the active area of the screen."),
    marked(
        "Mean pressure difference over mean die pressure: a stiffer melt moves both, a loaded screen moves "
        "the first."
    ),
    marked(
        "Mean pressure difference, brought to the reference throughput and melt temperature by the melt's "
        "power law."
    ),
    marked(
        "Pressure difference times area over apparent viscosity in the holes and volume flow; for comparison "
        "only, since the viscosity is apparent."
    ),
    marked("Mean time from one cleaning to the next."),
    marked("Standard deviation over mean; it tells how even the material was."),
    marked("Mean of the pressure difference before each cleaning less that after it."),
    marked("Share of the pressure above that of the clean screen which a cleaning takes away."),
    marked("Rise of the pressure difference after a cleaning, for each cleaning: median of all pair slopes."),
    marked("What the scale counted over whole periods."),
    marked("All that was discharged over all that was fed."),
    marked("The part of the gross loss that is not dirt."),
    marked("Rise of the pressure difference between cleanings over the melt on each area of the screen."),
    marked(
        "Rise of the pressure difference between cleanings over the melt on each area of the screen. The "
        "rise "
        "is brought to the reference throughput and melt temperature."
    ),
    marked(
        "Power m of the pressure difference in its rise with the melt that has passed, one m for all cycles "
        "by least squares, its interval by leaving out one cycle after the other."
    ),
    marked("P95 less P5 by time."),
    marked("Farthest from its set-point, either way, for all but 5 % of the time."),
    marked("Highest mean of a zone less the lowest."),
    marked("Counter difference over the product of the same time."),
    marked("Mean power over throughput: no counter was read."),
    marked("Duty times nominal power of each zone over throughput; the mains' voltage is not known."),
    marked("Throughput over screw speed: it falls when the feed starves the screw, or the screw is worn."),
    marked(
        "Heat that the melt took up over shaft energy and heating; the rest went to hall, cooling and steam."
    ),
    marked("Volume times density over throughput: a mean, dead corners take longer."),
    marked("What the discharge scale counted over time."),
    marked("Feed less pellets, discharge and steam, over feed; what the line holds is taken as constant."),
    marked("Dirt in less dirt found again, over dirt in."),
    marked("Dirt in the discharge over dirt in the feed."),
    marked("Throughput over cuts, density and strand area."),
    marked("Throughput over cuts; all holes open."),
    marked("Mean of the laboratory's samples."),
    marked("Mean by time of the probe after the dryer."),
    marked("Alarms that began in the window over its length."),
    marked("Highest count in any ten minutes."),
    marked("Share of the window in which any alarm stood."),
    marked(
        "Share of the samples, one in {n} s, at which the ratio of two variances lies below {m}: 95 % for "
        "noise alone."
    ),
)

_LAWS: Final = {
    "cake": marked("cake"),
    "intermediate": marked("intermediate"),
    "standard": marked("standard"),
    "complete": marked("complete"),
}
_QUANTITIES: Final = {"flow": "kg/h", "least_flow": "kg/h", "pressure": "bar"}
"""Parts that are said with their unit, in the reader's."""
_PART: Final = re.compile(r"\{(\w+)\}")


def retold(text: str, say: Speech) -> str:
    """A sentence or clause of the figures in the language of the report; as it was where it is not known."""
    for pattern, template in _compiled():
        match = pattern.fullmatch(text)
        if match is not None:
            parts = {name: _part(name, value, say) for name, value in match.groupdict().items()}
            return say(template, **parts)
    return text


def knows(text: str) -> bool:
    """Whether a sentence follows one of the patterns."""
    return any(pattern.fullmatch(text) for pattern, _ in _compiled())


def _part(name: str, value: str, say: Speech) -> str:
    if name in ("n", "m", "k"):
        return value.replace("-", "−").replace(".", say.comma)
    if name in _QUANTITIES:
        number, _, unit = value.partition(" ")
        return say.number(float(number), unit)
    if name in ("path", "other_path"):
        return name_of_path(value, say)
    if name == "paths":
        return "; ".join(name_of_path(p, say) for p in value.split(", "))
    if name == "clause":
        return retold(value, say)
    if name == "figure":
        return name_of_figure(value, say)
    if name == "law":
        return retold(value, say)
    if name == "laws":
        both = (say(_LAWS.get(law, law)) for law in value.split(" or "))
        return say(" or ").join(both) if value.partition(" or ")[0] in _LAWS else retold(value, say)
    if name in ("reading", "other"):
        return name_of_figure(f"throughput, {value}", say).partition(", ")[2] or value
    return value


@lru_cache(maxsize=1)
def _compiled() -> tuple[tuple[re.Pattern[str], str], ...]:
    return tuple((_pattern(template), template) for template in _PATTERNS)


def _pattern(template: str) -> re.Pattern[str]:
    """The template with each of its parts as a group."""
    number = r"-?[\d.]+(?:e[+-]?\d+)?"
    parts = {"n": number, "m": number, "k": number, "path": r"[a-z][\w.]*", "other_path": r"[a-z][\w.]*"}
    parts |= {name: f"{number} {unit}" for name, unit in _QUANTITIES.items()}
    out, at = [], 0
    for match in _PART.finditer(template):
        out.append(re.escape(template[at : match.start()]))
        out.append(f"(?P<{match[1]}>{parts.get(match[1], '.+')})")
        at = match.end()
    out.append(re.escape(template[at:]))
    return re.compile("".join(out))
