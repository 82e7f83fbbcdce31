"""A digest as plain text that a phone shows without breaking its lines."""

from __future__ import annotations

import re
import textwrap
import unicodedata
from collections.abc import Iterator
from itertools import groupby
from typing import Final
from zoneinfo import ZoneInfo

from rules.digest import words
from rules.digest.content import Digest, Seen
from rules.digest.places import place_of
from rules.digest.times import moment
from rules.digest.work import Item

WIDTH: Final = 40

_HELD: Final = "\u00a0"
_TOGETHER: Final = re.compile(
    r"\b\d{1,2} [A-Z][a-z]{2} (\d{4}|\d\d:\d\d\S*)|\d (K|h|min|s|bar|mbar|kg/h|kW|A|times?|°C|%)(?=\W|$)"
)
"""Day and clock, number and unit: they stand in one line."""


def as_text(digest: Digest) -> str:
    """The digest, no line longer than forty characters."""
    return "\n".join(_lines(digest)) + "\n"


def _lines(digest: Digest) -> Iterator[str]:
    zone = ZoneInfo(digest.zone)
    yield from _wrapped(f"MAINTENANCE DIGEST {digest.line}")
    if digest.simulated:
        yield from _wrapped("SIMULATED: no machine stands behind this.")
    yield from _wrapped(words.span(digest))
    yield from _wrapped(f"Times of {digest.zone}")
    for doubt in digest.in_doubt:
        yield from _wrapped(doubt)
    if digest.is_quiet:
        yield ""
        yield from _wrapped(words.quiet(digest))
    if digest.work:
        yield from _heading("What needs hands")
    for number, item in enumerate(digest.work, start=1):
        yield from _item(number, item, zone)
    if digest.further:
        yield from _heading(f"Also open: {len(digest.further)}")
        for item in digest.further:
            yield from _point(f"{place_of(item.part)}: {item.deadline.words}, {words.since(item, zone)}")
    if digest.done:
        yield from _heading("Done")
        for one in digest.done:
            yield from _point(words.done(one, zone))
    yield from _seen(digest, zone)
    if digest.deeds:
        yield from _heading("What people noted")
        for deed in digest.deeds:
            yield from _point(f"{moment(deed.time_ns, zone)} {deed.text}")
    if digest.worn:
        yield from _heading("Running hours")
        for part in digest.worn:
            yield from _point(f"{place_of(part.part)}: {words.worn(part, zone)}")
    yield from _heading("What could not be judged")
    for line in words.unseen(digest.sight):
        yield from _point(line)
    yield ""
    yield from _wrapped(words.NO_STATEMENT)


def _item(number: int, item: Item, zone: ZoneInfo) -> Iterator[str]:
    if number > 1:
        yield ""
    yield from _wrapped(f"{number}. {item.deadline.words.upper()}: {place_of(item.part)}")
    facts = [
        words.since(item, zone),
        item.leading.sentence,
        words.again(item, zone),
        item.leading.advice,
        f"Part number: {item.number or 'not known'}",
        f"Done: open ({item.part})",
    ]
    for fact in facts:
        if fact:
            yield from _wrapped(fact, "   ")


def _seen(digest: Digest, zone: ZoneInfo) -> Iterator[str]:
    if not digest.seen:
        if not digest.is_quiet:
            yield from _heading("What was found")
            yield from _wrapped("Nothing in this time; what stands above is from earlier.")
        return
    yield from _heading("What was found")
    for machine, rows in groupby(digest.seen, key=lambda s: s.machine):
        yield machine
        for row in rows:
            yield from _point(_found(row, zone))


def _found(row: Seen, zone: ZoneInfo) -> str:
    said = f"{row.part}, {row.rule}: {words.when(row, zone)}. {row.sentence}"
    return f"{said} {words.consequence(row)}".rstrip()


def _heading(text: str) -> Iterator[str]:
    yield ""
    yield text.upper()


def _point(text: str) -> Iterator[str]:
    yield from _wrapped(text, "- ", "  ")


def _wrapped(text: str, first: str = "", rest: str | None = None) -> Iterator[str]:
    """One paragraph; what stands in it as control characters or line breaks becomes a space."""
    clean = "".join(" " if unicodedata.category(c)[0] in "CZ" else c for c in text)
    held = _TOGETHER.sub(lambda m: m[0].replace(" ", _HELD), " ".join(clean.split()))
    indent = first if rest is None else rest
    for line in textwrap.wrap(
        held, WIDTH, initial_indent=first, subsequent_indent=indent, break_on_hyphens=False
    ) or [first.rstrip()]:
        yield line.replace(_HELD, " ")
