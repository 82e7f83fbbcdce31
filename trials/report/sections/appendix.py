"""Appendix: every figure with its method, quality of the data, changes of the record, its origin."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np

from historian.catalogue import meaning_of
from trials.figures import Trace
from trials.outcome import Point
from trials.record.entries import Entry, What
from trials.record.words import sentence_of
from trials.report.content import Align, Block, Heading, Lines, Paragraph, Small, Table
from trials.report.names import capital, name_of_path, name_of_zone
from trials.report.retold import retold
from trials.report.speech import NOTHING, marked
from trials.report.tables import absent_blocks, name, window_words
from trials.report.view import View
from trials.seal import Seal

TITLE: Final = marked("Appendix")
MOST_TAGS: Final = 60
_ZONES_BESIDE: Final = 2  # points in a table of three columns each
_SIDE_BY_SIDE: Final = 3
_SENTENCE: Final = 400
_ZONE: Final = re.compile(r"(?:temperature|highest deviation), (?:barrel zone|filter plate|die zone) \d+")


def blocks(view: View) -> Iterator[Block]:
    """What stands in the section."""
    say = view.say
    yield Heading(say("How numbers are written"))
    yield Lines(
        (
            say(
                "Three digits at most; the uncertainty is rounded up, the value to the same place (GUM, "
                "7.2.6)."
            ),
            say("After ± stands the expanded uncertainty with k = 2, about 95 %. Without ±, none is known."),
            say(
                "n is the number of samples or cleanings behind a figure, the smallest where several tags "
                "are."
            ),
            say("P5 and P95: 5 % and 95 % of the time lie at or below."),
            say("Times are those of the site ({zone}), with their offset from UTC.", zone=say.zone.key),
        )
    )
    yield from _figures(view)
    yield from _quality(view)
    yield from _samples(view)
    yield from _changes(view)
    yield from _made(view)


def _figures(view: View) -> Iterator[Block]:
    """Values of all points side by side, zones in a table of their own, then what each figure is."""
    say, points = view.say, view.outcome.points
    yield Heading(say("All figures"))
    for first in range(0, len(points), _SIDE_BY_SIDE):
        some_points = points[first : first + _SIDE_BY_SIDE]
        yield _values(view, some_points)
        for one in range(0, len(some_points), _ZONES_BESIDE):
            zones = _zones(view, some_points[one : one + _ZONES_BESIDE])
            if zones is not None:
                yield zones
    yield from absent_blocks(view.absent(view.figures.figures), say)
    known = [f for f in view.figures.figures if f.value is not None and not _of_zone(f.name)]
    if known:
        yield Heading(say("How each figure was found"))
        rows = tuple((name(f, say), retold(f.method, say)) for f in known)
        yield Table((say("Figure"), say("Method")), rows, weights=(2.2, 4.8))


def _values(view: View, points: Sequence[Point]) -> Table:
    say = view.say
    rows = []
    for place, figure in enumerate(points[0].figures.figures):
        if _of_zone(figure.name):
            continue
        each = [p.figures.figures[place] for p in points]
        if any(f.value is not None for f in each):
            cells = [c for f in each for c in (say.figure(f, with_unit=False), view.count_shown(f))]
            rows.append((name(figure, say), say.unit(figure.unit), *cells))
    head = (say("Figure"), say("Unit"), *(h for p in points for h in (p.name, say("n"))))
    align = (Align.LEFT, Align.LEFT, *(Align.RIGHT for _ in range(2 * len(points))))
    weights = (3.4, 1.5, *(w for _ in points for w in (2.0, 0.9)))
    return Table(head, tuple(rows), _times(view, points), align, weights)


def _zones(view: View, points: Sequence[Point]) -> Table | None:
    """Zone by zone: mean, spread, and how far from the set-point."""
    say = view.say
    mean = "temperature, "
    figures = [f.name for f in points[0].figures.figures]
    named = [n.removeprefix(mean) for n in figures if n.startswith(mean) and _ZONE.fullmatch(n)]
    rows = []
    for zone in named:
        kinds = (f"temperature, {zone}", f"temperature, {zone}, spread", f"highest deviation, {zone}")
        each = [view.figure(k, point=p.figures) for p in points for k in kinds]
        if any(f.value is not None for f in each):
            title = capital(name_of_zone(zone, say))
            rows.append((title, *(say.figure(f, with_unit=False) for f in each)))
    if not rows:
        return None
    kelvin = say.unit("K")
    parts = [
        (
            say("{point} mean [{unit}]", point=p.name, unit=say.unit("Cel")),
            say("P95 less P5 [{unit}]", unit=kelvin),
            say("off [{unit}]", unit=kelvin),
        )
        for p in points
    ]
    head = (say("Zone"), *(h for part in parts for h in part))
    align = (Align.LEFT, *(Align.RIGHT for _ in head[1:]))
    caption = say("Zones: mean by time; P95 less P5; farthest from the set-point for all but 5 % of the time")
    return Table(head, tuple(rows), caption, align, (1.6, *(1.0 for _ in head[1:])))


def _of_zone(figure: str) -> bool:
    return _ZONE.match(figure) is not None


def _times(view: View, points: Sequence[Point]) -> str:
    return "; ".join(window_words(view, p) for p in points)


def _quality(view: View) -> Iterator[Block]:
    say, outcome = view.say, view.outcome
    yield Heading(say("Quality of the data"))
    used = {p for point in outcome.points for f in point.figures.figures for p in f.tags}
    paths = sorted(p for p in outcome.traces if p in used)
    others = len(outcome.traces) - len(paths)
    span = (outcome.trial.start_ns, outcome.end_ns)
    rows = tuple(_tag_row(view, path, outcome.traces[path], span) for path in paths[:MOST_TAGS])
    if rows:
        head = (say("Tag"), say("Meaning"), say("n"), say("Known"), say("Mean"), say("Least"), say("Most"))
        align = (Align.LEFT, Align.LEFT, *(Align.RIGHT for _ in range(5)))
        caption = say("Tags behind the figures, {span}", span=say.span(*span))
        yield Table(head, rows, caption, align, (2.6, 2.4, 0.9, 0.9, 1.2, 1.2, 1.2))
    others += max(len(paths) - MOST_TAGS, 0)
    if others:
        yield Small(
            say.several("{count} further tag was recorded.", "{count} further tags were recorded.", others)
        )


def _tag_row(view: View, path: str, trace: Trace, span: tuple[int, int]) -> tuple[str, ...]:
    say = view.say
    tag, meaning = view.outcome.tags.get(path), meaning_of(path)
    unit = tag.unit if tag is not None else meaning.unit if meaning is not None else "1"
    first, last = np.searchsorted(trace.time_ns, span)
    time_ns, value = trace.time_ns[first:last], trace.value[first:last]
    known = value[~np.isnan(value)]
    title = capital(name_of_path(path, say))
    if len(known) == 0:
        return path, title, say.count(0), say.number(0, "%"), NOTHING, NOTHING, NOTHING
    speaks_s = np.minimum(np.diff(np.append(time_ns, span[1])) / 1e9, trace.hold_s)
    share = float(speaks_s[~np.isnan(value)].sum()) / ((span[1] - span[0]) / 1e9)
    numbers = (say.number(float(x), unit) for x in (known.mean(), known.min(), known.max()))
    return path, title, say.count(len(known)), say.number(min(100 * share, 100), "%"), *numbers


def _samples(view: View) -> Iterator[Block]:
    say = view.say
    samples = view.outcome.book.all_of(What.SAMPLE)
    if samples:
        rows = tuple(
            (
                str(e.data["name"]),
                say.moment(e.time_ns),
                say(_OF.get(str(e.data.get("of", "pellets")), "")) or NOTHING,
                str(e.data.get("bag", NOTHING)),
                str(e.data.get("place", NOTHING)),
            )
            for e in samples
        )
        head = (say("Sample"), say("Taken"), say("Of"), say("Bag"), say("Place"))
        yield Heading(say("Samples"))
        yield Table(head, rows, weights=(1, 2.4, 1, 1, 2))


_OF: Final = {"feed": marked("feed"), "pellets": marked("pellets"), "discharge": marked("discharge")}


def _changes(view: View) -> Iterator[Block]:
    say, book = view.say, view.outcome.book
    yield Heading(say("Changes of the record"))
    rows = []
    for entry_id, before in sorted(book.corrected.items()):
        now = next((e for e in book.standing if e.id == entry_id), None)
        if now is not None:
            rows += [
                (*_when(view, now), say("in place of: {old}", old=_short(sentence_of(old)))) for old in before
            ]
    rows += [(*_when(view, e), say("taken back: {why}", why=why)) for e, why in book.withdrawn]
    rows += [(*_when(view, e), say("written after the seal")) for e in book.addenda]
    if rows:
        head = (say("Written"), say("By"), say("Entry"), say("Change"))
        yield Table(head, tuple(rows), weights=(1.8, 1.2, 3.2, 3))
    else:
        yield Paragraph(say("Nothing was corrected, taken back or added after the seal."))


def _when(view: View, entry: Entry) -> tuple[str, str, str]:
    return view.say.moment(entry.entered_ns), entry.by, _short(sentence_of(entry))


def _short(sentence: str) -> str:
    """The beginning of a long entry, such as a cut of phases; the whole stands in the record."""
    return sentence if len(sentence) <= _SENTENCE else f"{sentence[:_SENTENCE].rstrip()} …"


def _made(view: View) -> Iterator[Block]:
    say, made, book = view.say, view.wanted.made, view.outcome.book
    yield Heading(say("What this report was made from"))
    rows = []
    if book.seal is None:
        rows.append((say("Seal"), say("The trial is not sealed: its data may still change.")))
    else:
        digest = _sha256(book.seal)
        rows.append(
            (say("Sealed"), say("{when}, by {who}", when=say.moment(book.seal.time_ns), who=book.seal.by))
        )
        rows.append((say("SHA-256 of record and samples"), digest or say("The seal cannot be read.")))
    if made.line_sha256:
        rows.append((say("SHA-256 of the line's file"), made.line_sha256))
    if made.raw:
        rows.append((say("Samples"), made.raw))
    rows.append((say("Tags recorded"), say.count(len(view.outcome.traces))))
    rows.append((say("Program"), f"meltledger {made.version}".strip()))
    if made.time_ns is not None:
        rows.append((say("Report made"), say.moment(made.time_ns)))
    if any(t.simulated for t in view.outcome.tags.values()):
        rows.append((say("Simulated"), say("No machine stands behind this data.")))
    yield Table((), tuple(rows), weights=(1.5, 3.5))


def _sha256(seal: Entry) -> str:
    try:
        return Seal.from_json(seal.data).sha256
    except (KeyError, TypeError, ValueError):
        return ""
