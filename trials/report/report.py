"""A report of a trial: twelve sections from what the trial gave. Pure."""

from __future__ import annotations

from datetime import datetime
from typing import Final

from historian.frame import NS
from trials.outcome import Outcome
from trials.report.content import Report, Section
from trials.report.sections import (
    appendix,
    course,
    cover,
    disturbances,
    energy,
    filtration,
    material,
    pellets,
    points,
    recommendation,
    settings,
    setup,
)
from trials.report.speech import Speech
from trials.report.view import View
from trials.report.wanted import Wanted

SECTIONS: Final = (
    cover,
    material,
    setup,
    settings,
    course,
    points,
    filtration,
    pellets,
    energy,
    disturbances,
    recommendation,
    appendix,
)
"""In the order that a practitioner expects."""


def report_of(outcome: Outcome, say: Speech, wanted: Wanted | None = None) -> Report:
    """The report.

    Args:
        outcome: of a trial; one that is under way makes an interim report.
        say: language, units and clock.
        wanted: photographs and where it was made; None: none of it.
    """
    view = View(outcome, say, wanted if wanted is not None else Wanted())
    trial = outcome.trial
    sections = tuple(
        Section(number, say(module.TITLE), tuple(module.blocks(view)))
        for number, module in enumerate(SECTIONS, start=1)
    )
    simulated = any(t.simulated for t in outcome.tags.values())
    interim = ""
    if outcome.under_way:
        interim = say(
            "Interim report: the trial is under way; state of {when}.", when=say.moment(outcome.end_ns)
        )
    if simulated:
        interim = f"{interim} {say('Simulated: no machine stands behind this.')}".strip()
    kind = say("Interim trial report") if outcome.under_way else say("Trial report")
    name = trial.code_name or trial.customer
    return Report(
        say.language,
        say("{kind} {name}", kind=kind, name=trial.name),
        say.listed((trial.customer or trial.code_name, say.span(trial.start_ns, outcome.end_ns))),
        (say("{kind} {name}", kind=kind, name=trial.name), name),
        "/",
        say("Contents"),
        interim,
        _date(view),
        sections,
    )


def _date(view: View) -> tuple[int, int, int]:
    """The day on which it was made, else the trial's last: the same trial gives the same file."""
    made_ns = view.wanted.made.time_ns
    day = datetime.fromtimestamp((view.outcome.end_ns if made_ns is None else made_ns) // NS, view.say.zone)
    return day.year, day.month, day.day
