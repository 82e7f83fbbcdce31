"""Material and pre-analysis: what was brought, what was measured of it, what in it can hurt people."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from trials.forms.measures import MEASURES, Of
from trials.record.entries import What
from trials.report.content import Block, Caution, Heading, Paragraph, Table
from trials.report.laboratory import result_table
from trials.report.photographs import photographs
from trials.report.speech import NOTHING, marked
from trials.report.view import View

TITLE: Final = marked("Material and pre-analysis")
_KEYS: Final = (
    ("polymer", marked("Polymer"), ""),
    ("form", marked("Form"), ""),
    ("lot", marked("Lot"), ""),
    ("amount", marked("Amount delivered"), "kg"),
    ("contamination", marked("Contamination, as seen or told"), ""),
    ("open_since", marked("Stood open before the trial"), ""),
    ("fillers", marked("Fillers, colour, additives"), ""),
    ("melt_density", marked("Density of the melt"), "kg/m3"),
    ("activation_energy", marked("Activation energy of flow"), "kJ/mol"),
    ("heat_capacity", marked("Heat capacity, mean of solid and melt"), "kJ/(kg.K)"),
    ("melting", marked("Heat of melting"), "kJ/kg"),
    ("pellet_temperature", marked("Pellets as they leave the water"), "Cel"),
)
_ASSESSED: Final = {
    "pvc": marked("polyvinyl chloride"),
    "pom": marked("polyoxymethylene"),
    "flame-retardant": marked("flame retardants"),
    "unknown-polymer": marked("polymers that are not known"),
    "batteries": marked("batteries"),
    "aerosols": marked("aerosol cans and gas cartridges"),
    "metal-dust": marked("metal dust"),
}


def blocks(view: View) -> Iterator[Block]:
    """What stands in the section."""
    say, book = view.say, view.outcome.book
    material = book.only(What.MATERIAL)
    if material:
        rows = tuple(
            (say(label), view.told(material[key], unit) if unit else str(material[key]))
            for key, label, unit in _KEYS
            if material.get(key) is not None
        )
        yield Table((), rows, say("As the customer described it"), weights=(1.6, 3.4))
    else:
        yield Paragraph(say("Nothing was written down about the material."))
    yield from _lots(view)
    yield from photographs(view, "material")
    yield Heading(say("Pre-analysis"))
    before = [r for r in view.outcome.results if r.of is Of.FEED]
    if before:
        yield result_table(view, before, say("Results of the feed"))
    else:
        yield Paragraph(say("No analysis of the feed was written down: not shown in this trial."))
    needed = ("moisture", "melt-flow-rate", "ash", "bulk-density")
    lacking = [say(MEASURES[m].text) for m in needed if not any(r.what == m for r in before)]
    if before and lacking:
        yield Paragraph(say("Not measured: {what}.", what=say.listed(lacking)))
    yield Heading(say("What can hurt people when it is melted"))
    yield from _assessments(view)


def _lots(view: View) -> Iterator[Block]:
    say = view.say
    lots = view.outcome.book.all_of(What.LOT)
    if len(lots) > 1:
        rows = tuple(
            (say.moment(e.time_ns), str(e.data["lot"]), str(e.data.get("bale", NOTHING))) for e in lots
        )
        yield Table(
            (say("Fed from"), say("Lot"), say("Bale")), rows, say("Lots and bales"), weights=(2, 1, 1)
        )


def _assessments(view: View) -> Iterator[Block]:
    say = view.say
    found = view.outcome.book.all_of(What.ASSESSMENT)
    rows = tuple(
        (
            say(_ASSESSED[str(e.data["what"])]),
            say("found") if e.data["found"] else say("not found"),
            str(e.data["how"]),
            e.by,
        )
        for e in found
    )
    if rows:
        head = (say("Substance or object"), say("Result"), say("How it was looked for"), say("By"))
        yield Table(head, rows, weights=(2, 1, 3, 1.2))
    open_ = [say(text) for what, text in _ASSESSED.items() if what not in {e.data["what"] for e in found}]
    if open_:
        yield Caution(say("Not assessed by anybody, so not known: {what}.", what=say.listed(open_)))
