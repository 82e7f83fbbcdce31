"""Recommendation: what is to be expected from what was shown, what was not proven, what to try next.

The only section in which something is expected; it rests on valid figures only.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from trials.outcome.targets import Target, Verdict
from trials.record.entries import What
from trials.report.content import Block, Caution, Heading, Lines, Paragraph, Small
from trials.report.names import capital, name_of_figure
from trials.report.retold import retold
from trials.report.sections.cover import ENERGIES, THROUGHPUTS
from trials.report.speech import marked
from trials.report.view import View
from trials.scale_up import scale_up, seen_of, wanted_of

TITLE: Final = marked("Recommendation")
SERVICE_SHARE: Final = 0.85
"""What of a screen's area may be counted on in production. common practice, no source."""
NEAR_TIMES: Final = 2.0
"""The area is asked for at the trial's own throughput; with the service factor it is below twice its own."""
KG_A_POUND: Final = 0.45359237
_PROVEN: Final = (
    THROUGHPUTS,
    ("cleaning period",),
    ("recovery",),
    ("lasting rise at a cleaning",),
    ("discharge loss, melt",),
    ("dirt separated",),
    ("blocking power",),
    ENERGIES,
    ("pellet moisture",),
)


def blocks(view: View) -> Iterator[Block]:
    """What stands in the section."""
    say, main = view.say, view.main
    yield Heading(say("Screen area"))
    if main is None:
        yield Paragraph(say("Nothing is to be expected from a trial without steady time."))
    elif main.figures.indicative:
        yield Paragraph(
            say("The figures of {point} are indicative: no size is derived from them.", point=main.name)
        )
    else:
        yield from _area(view)
    yield Heading(say("Not proven"))
    lines = tuple(_not_proven(view))
    if lines:
        yield Lines(lines)
    else:
        yield Paragraph(say("Every figure that was asked for has a value."))
    yield Paragraph(
        say("A finer screen, another lot, another throughput and a longer run were not shown in this trial.")
    )
    yield Heading(say("Next trial"))
    yield Lines(tuple(_next(view)))
    yield Caution(
        say(
            "What is expected here is no promise and no instruction to run a machine. It holds for material, "
            "screen and settings as they were; a practitioner on the site decides."
        )
    )


def _area(view: View) -> Iterator[Block]:
    """What a screen of this fineness is expected to let through with further lots like those of the trial."""
    say = view.say
    specific = view.figure("specific throughput of the screen")
    if specific.value is None:
        yield Paragraph(say("Not shown in this trial: {why}.", why=retold(specific.absent, say)))
        return
    seen = seen_of(view.outcome)
    per_hour = 1000.0 if view.say.unit("kg/h") == "kg/h" else 2000 * KG_A_POUND
    asked = (
        wanted_of(
            {
                "throughput": f"{seen.flow_kg_h!r} kg/h",
                "fineness": f"{seen.fineness_um!r} um",
                "service_factor": SERVICE_SHARE,
                "most_times": NEAR_TIMES,
            }
        )
        if seen.flow_kg_h > 0 and seen.fineness_um > 0
        else None
    )
    answer = None if asked is None else scale_up(seen, asked)
    if answer is None or answer.area_cm2 is None:
        why = (*seen.refused, *(answer.refused if answer is not None else ()))
        yield Paragraph(say("From this trial no size of a screen is derived:"))
        yield Lines(tuple(retold(w, say) for w in dict.fromkeys(why)))
        return
    low, middle, high = (seen.flow_kg_h / area for area in reversed(answer.area_cm2))
    yield Paragraph(
        say(
            "The trial has shown {specific} at {fineness}. With further lots like its own, at this fineness "
            "and with these pressures and intervals, {middle} are expected in production, with a 90 % "
            "range from {low} to {high}; {share} of the area is counted on.",
            specific=say.figure(specific),
            fineness=say.told(seen.fineness_um, "um"),
            middle=say.number(middle, specific.unit, digits=2),
            low=say.number(low, specific.unit, digits=2),
            high=say.number(high, specific.unit, digits=2),
            share=say.number(100 * SERVICE_SHARE, "%", digits=2),
        )
    )
    yield Paragraph(
        say(
            "For each {flow} of feed that is about {middle} of screen, from {low} to {high}.",
            flow=say.told(round(per_hour, 3), "kg/h"),
            middle=say.number(per_hour / middle, "cm2", digits=2),
            low=say.number(per_hour / high, "cm2", digits=2),
            high=say.number(per_hour / low, "cm2", digits=2),
        )
    )
    yield Small(
        say(
            "The range is that of how far lots differ, and of the calculation, drawn at random. For another "
            "material, throughput or machine it must be calculated anew."
        )
    )


def _not_proven(view: View) -> Iterator[str]:
    say = view.say
    for names in _PROVEN:
        figure = view.figure(*names)
        if figure.value is None:
            what, why = capital(name_of_figure(figure.name, say)), retold(figure.absent, say)
            yield say("{what}: {why}", what=what, why=f"{why}.")
    for wanted in view.outcome.book.only(What.PLAN).get("target", []):
        target = Target.of(wanted)
        try:
            figure = view.figure(target.figure)
        except KeyError:
            continue
        if target.verdict(figure) is Verdict.UNDECIDED:
            yield say(
                "{what}: the target lies within the uncertainty",
                what=capital(name_of_figure(figure.name, say)),
            )


def _next(view: View) -> Iterator[str]:
    """What would make the missing figures known; each follows from what is missing."""
    say, facts = view.say, view.main.facts if view.main is not None else None
    if view.main is None or view.figures.indicative:
        yield say(
            "Run longer at one setting, so that the figures become valid: section 6 says what is missing."
        )
    if any(t.calibration is None for p, t in view.outcome.traces.items() if p in _GAUGES):
        yield say(
            "Have the pressure sensors before and after the screen calibrated, so that uncertainties are "
            "known."
        )
    if facts is None or facts.melt is None:
        yield say(
            "Measure the melt flow rate at two loads, and tell the activation energy: pressures can then be "
            "compared between trials."
        )
    if facts is None or facts.feed_dirt is None or facts.discharge_dirt is None:
        yield say(
            "Have the dirt of feed, discharge and pellets measured by one method: the balance of dirt needs "
            "it."
        )
    if facts is None or facts.clean_dp_bar is None:
        yield say(
            "Note the pressure difference over the clean screen at the operating point: recovery needs it."
        )
    if len(view.outcome.points) < 2:
        yield say("Try a second throughput: how pressure and interval depend on it was not shown.")
    yield say("Repeat with another lot: one lot does not tell how much lots differ.")


_GAUGES: Final = ("filter.inlet.pressure.pv", "filter.outlet.pressure.pv")
