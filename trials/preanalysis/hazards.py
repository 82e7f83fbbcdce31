"""What can hurt people when it is melted: "not assessed" until a person has looked, and never "safe"."""

from __future__ import annotations

from trials.forms.forms import ASSESSED
from trials.preanalysis.check import Check, Verdict
from trials.record.book import Book
from trials.record.entries import What

_CAUTION = (
    "This program assesses none of these. Who is responsible at the site decides, by its own rules and the "
    "machine's manual."
)


def hazard_checks(book: Book) -> list[Check]:
    """One check each, by what people entered; whatever somebody found stays found."""
    checks = []
    for what, text in ASSESSED.items():
        entries = [e for e in book.all_of(What.ASSESSMENT) if e.data.get("what") == what]
        found = [e for e in entries if e.data.get("found") is True]
        shown = (found or entries)[-1] if entries else None
        name = text[0].upper() + text[1:]
        if shown is None:
            verdict = Verdict.NOT_ASSESSED
            sentence = f"{name}: not assessed. Only a person can look for it and enter what was seen."
        else:
            verdict = Verdict.FOUND if found else Verdict.NOT_FOUND
            sentence = f"{name}: {verdict} ({shown.data['how']}; entered by {shown.by})."
        checks.append(Check(text, verdict, sentence, _CAUTION))
    return checks
