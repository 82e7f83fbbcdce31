"""The review as tables: headings and rows, for people and for a workbook."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from math import isnan
from typing import Final

from historian.frame import NS
from rules.review.history import OURS
from rules.review.judgement import Figure, Judgement
from rules.review.proposal import Proposal
from rules.review.published import PUBLISHED, SHARES
from rules.review.review import Review
from rules.review.telling import where_to_set

_SHORT: Final = {
    Judgement.WITHIN: "within",
    Judgement.ABOVE_TARGET: "above target",
    Judgement.ABOVE: "ABOVE",
    Judgement.NOT_ENOUGH: "not enough data",
}

Cell = str | int | float | datetime | None


@dataclass(frozen=True, slots=True)
class Table:
    """A table: each row is as long as the headings; None is an empty cell."""

    columns: Sequence[str]
    rows: Sequence[Sequence[Cell]]


def figures_table(review: Review) -> Table:
    """Every figure of every origin beside the published one."""
    columns = (
        "alarms of",
        "figure",
        "here",
        "target",
        "maximum",
        "judgement",
        "note",
        "source",
        "confidence",
    )
    rows: list[list[Cell]] = []
    for of in review.origins:
        for one in of.figures:
            p = one.published
            judged: list[Cell] = [_target(one), _maximum(one), str(one.judgement), one.why]
            rows.append(
                [origin_words(of.origin), p.metric, shown_value(one), *judged, p.source, p.confidence]
            )
    return Table(columns, rows)


def side_by_side(review: Review) -> Table:
    """The figures as people compare them: a row a figure, a column an origin."""
    origins = [origin_words(of.origin) for of in review.origins]
    rows: list[list[Cell]] = []
    for same in zip(*(of.figures for of in review.origins), strict=True):
        here = [f"{shown_value(one)} {_SHORT[one.judgement]}" for one in same]
        rows.append([same[0].published.metric, *here, _target(same[0]), _maximum(same[0])])
    return Table(("figure", *origins, "target", "maximum"), rows)


def sources(review: Review) -> list[str]:
    """Whose the published figures are and how sure, each once, and what there is to know of figures here."""
    said: dict[str, list[str]] = {}
    for one in review.origins[0].figures:
        p = one.published
        said.setdefault(f"{p.source} ({p.confidence})", []).append(p.metric)
    notes: dict[str, list[str]] = {}
    for of in review.origins:
        for one in of.figures:
            if one.judgement is not Judgement.NOT_ENOUGH or not one.why.endswith("days"):
                notes.setdefault(f"{one.published.metric}: {one.why}", []).append(origin_words(of.origin))
    whose = [f"{source}: {'; '.join(metrics)}" for source, metrics in said.items()]
    return whose + [f"{note} ({', '.join(of)})" for note, of in notes.items() if not note.endswith(": ")]


def counts_table(review: Review) -> Table:
    """What is not set beside a published number: counts, times, distributions; a column an origin."""
    found: list[dict[str, str]] = []
    for of in review.origins:
        asked, back = of.acknowledged, of.returned
        pairs: list[tuple[str, str]] = [
            ("alarms announced", str(of.alarms)),
            ("most in one hour of the clock", str(of.most_in_hour)),
            ("most on one day", str(of.most_in_day)),
            ("most in any ten minutes (sliding)", str(of.most_sliding)),
            ("floods by the clock (10 or more in 10 min, until fewer than 5)", str(len(of.floods))),
            ("floods at every instant (sliding)", str(len(of.sliding_floods))),
            ("time in these", _percent(of.sliding_flood_percent)),
            ("rate outside of floods, in the words of EEMUA 191", of.steady_words or "not enough data"),
            (
                "activations that chattered (3 or more in 1 min)",
                f"{of.chattering} by {of.chattering_alarms} alarm{'s' * (of.chattering_alarms != 1)}",
            ),
            ("fleeting activations (over within 1 min)", str(of.fleeting)),
            ("until acknowledged, median / 95 %", _two(asked.median_s, asked.p95_s)),
            ("not acknowledged", str(asked.open)),
            ("until returned to normal, median / 95 %", _two(back.median_s, back.p95_s)),
            ("not returned, or the time not known", str(back.open)),
        ]
        for way, h in of.hidden.items():
            many = f"{_long(h.total_s)}; {h.times} times, the longest {_long(h.longest_s)}"
            pairs.append((f"{way}, alarm by alarm", many if h.times else "-"))
        pairs += [
            (f"of {g} {'priority' if g in SHARES else 'severity'}", _grade(n, of.alarms, of.origin, g))
            for g, n in of.grades.items()
        ]
        found.append(dict(pairs))
    whats = dict.fromkeys(what for one in found for what in one)
    rows = [[what, *(one.get(what) for one in found)] for what in whats]
    return Table(("what", *(origin_words(of.origin) for of in review.origins)), rows)


def frequent_table(review: Review) -> Table:
    """The most frequent alarms of each origin."""
    rows: list[list[Cell]] = [
        [origin_words(of.origin), f.history.label, f.count, round(f.share, 1)]
        for of in review.origins
        for f in of.frequent
    ]
    return Table(("alarms of", "alarm", "times", "share, %"), rows)


def floods_table(review: Review) -> Table:
    """The floods by the clock."""
    rows: list[list[Cell]] = [
        [origin_words(of.origin), _utc(f.start_ns), _utc(f.end_ns), f.alarms, f.in_first_window, words]
        for of in review.origins
        for f, words in zip(of.floods, of.upset_words, strict=True)
    ]
    first = "in its first 10 min"
    return Table(("alarms of", "start", "end", "alarms", first, "EEMUA 191 of these (from memory)"), rows)


def proposals_table(review: Review) -> Table:
    """What to change, and what it would have made of the window."""
    columns = (
        "alarm",
        "off-delay, s more",
        "on-delay, s more",
        "alarms now",
        "would remain",
        "later, median s",
        "later, most s",
        "not told of",
        "longest of these, s",
        "dead band",
        "where to set it",
    )
    rows: list[list[Cell]] = []
    for p in review.proposals:
        t = p.test
        later: list[Cell] = [_round(t.later_median_s), _round(t.later_most_s)]
        counts: list[Cell] = [p.delays.off_s, p.delays.on_s, t.before, t.after, *later, t.untold]
        rows.append([p.label, *counts, _round(t.longest_untold_s), _band(p), where_to_set(p)])
    return Table(columns, rows)


def origin_words(origin: str) -> str:
    """Whose alarms, as a person reads it."""
    return "ours" if origin == OURS else origin


def shown_value(one: Figure) -> str:
    """The figure with its unit, to three digits."""
    if isnan(one.value):
        return "-"
    return _percent(one.value) if one.published.unit == "%" else f"{one.value:.3g}"


def as_text(table: Table, show: Callable[[datetime], str]) -> list[str]:
    """The table as lines of one width, columns apart by two spaces."""
    cells = [[_text(c, show) for c in row] for row in [table.columns, *table.rows]]
    widths = [max(len(row[i]) for row in cells) for i in range(len(table.columns))]
    return ["  ".join(c.ljust(w) for c, w in zip(row, widths, strict=True)).rstrip() for row in cells]


def _text(cell: Cell, show: Callable[[datetime], str]) -> str:
    if isinstance(cell, datetime):
        return show(cell)
    if cell is None:
        return "-"
    return f"{cell:g}" if isinstance(cell, float) else str(cell)


def _target(one: Figure) -> str:
    return one.published.target_text


def _maximum(one: Figure) -> str:
    return one.published.maximum_text or "the same"


def _grade(count: int, total: int, origin: str, grade: str) -> str:
    share = f"{count} ({100 * count / total:.0f} %)"
    if origin != OURS or grade not in SHARES:
        return share
    return f"{share}; published about {SHARES[grade]:g} % ({PUBLISHED['priorities'].source})"


def _band(p: Proposal) -> str:
    if p.band is None:
        return "-"
    n = ", ".join(f"{path} {noise.sigma:.2g}" for path, noise in p.band.noises.items())
    now = "" if p.band.now is None else f"; now {p.band.now:g}"
    return f"{p.band.value:g} {p.band.unit} (noise: {n}{now})"


def _utc(time_ns: int) -> datetime:
    return datetime.fromtimestamp(time_ns // NS, UTC)


def _percent(value: float) -> str:
    return "-" if isnan(value) else f"{value:.3g} %"


def _round(value: float | None) -> float | None:
    return None if value is None else round(value, 1)


def _two(first: float | None, second: float | None) -> str:
    return "-" if first is None or second is None else f"{_long(first)} / {_long(second)}"


def _long(seconds: float) -> str:
    """Seconds as a person reads them.

    Example:
        >>> _long(5), _long(90), _long(7200)
        ('5 s', '1.5 min', '2 h')
    """
    for size, name in ((7200.0, "h"), (60.0, "min")):
        if seconds >= size:
            return f"{seconds / (3600 if name == 'h' else 60):.3g} {name}"
    return f"{seconds:.3g} s"
