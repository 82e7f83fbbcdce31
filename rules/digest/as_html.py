"""A digest as one HTML page for a mail or a file: tables, no script, nothing from elsewhere, text escaped."""

from __future__ import annotations

import base64
import unicodedata
from collections.abc import Callable, Iterator, Mapping
from html import escape
from itertools import groupby
from typing import Final
from zoneinfo import ZoneInfo

from rules.digest import words
from rules.digest.content import Digest, Seen, picture_key
from rules.digest.episodes import Episode
from rules.digest.places import place_of
from rules.digest.times import moment
from rules.digest.work import Item

Source = Callable[[str], str | None]
"""Name of a picture → where the page finds it; None: there is none."""

_STYLE: Final = (
    "body{font:16px/1.4 sans-serif;color:#1a1a1a;background:#fff;margin:0 auto;padding:12px;max-width:680px}"
    "h1{font-size:22px;margin:0 0 4px}h2{font-size:18px;margin:24px 0 6px}"
    "h3{font-size:16px;margin:14px 0 4px}"
    "table{border-collapse:collapse;width:100%}td,th{border-top:1px solid #bbb;padding:6px 6px 6px 0;"
    "text-align:left;vertical-align:top;overflow-wrap:anywhere}img{max-width:100%;height:auto;display:block;"
    "margin:6px 0}.when{color:#444}.path{color:#555;font-size:14px}"
    ".soon{font-weight:bold;text-transform:uppercase}"
    ".again{border-left:4px solid #1a1a1a;padding-left:6px;font-weight:bold}p{margin:4px 0}"
)


def as_html(digest: Digest, source: Source = lambda _: None) -> str:
    """The page.

    Args:
        source: where each picture stands, as ``within`` or ``beside`` give it.
    """
    return "\n".join(_page(digest, source)) + "\n"


def within(pictures: Mapping[str, bytes]) -> Source:
    """Pictures inside the page itself, for a file."""

    def source(key: str) -> str | None:
        png = pictures.get(key)
        return None if png is None else f"data:image/png;base64,{base64.b64encode(png).decode('ascii')}"

    return source


def beside(names: Mapping[str, str]) -> Source:
    """Pictures that travel with a mail, by their Content-ID."""
    return lambda key: f"cid:{names[key]}" if key in names else None


def _page(digest: Digest, source: Source) -> Iterator[str]:
    zone = ZoneInfo(digest.zone)
    yield '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
    yield '<meta name="viewport" content="width=device-width, initial-scale=1">'
    yield f"<title>{_e(words.title(digest))}</title><style>{_STYLE}</style></head><body>"
    yield f"<h1>Maintenance digest {_e(digest.line)}</h1>"
    if digest.simulated:
        yield "<p><b>Simulated: no machine stands behind this.</b></p>"
    yield f'<p class="when">{_e(words.span(digest))}. Times of {_e(digest.zone)}.</p>'
    yield from (f"<p><b>{_e(doubt)}</b></p>" for doubt in digest.in_doubt)
    if digest.is_quiet:
        yield f"<p>{_e(words.quiet(digest))}</p>"
    yield from _work(digest, zone, source)
    yield from _list("Done", [words.done(one, zone) for one in digest.done])
    yield from _seen(digest, zone, source)
    yield from _list("What people noted", [f"{moment(d.time_ns, zone)} {d.text}" for d in digest.deeds])
    if digest.worn:
        yield "<h2>Running hours</h2><table>"
        yield from (
            f"<tr><th>{_e(place_of(w.part))}</th><td>{_e(words.worn(w, zone))}</td></tr>" for w in digest.worn
        )
        yield "</table>"
    yield from _list("What could not be judged", words.unseen(digest.sight))
    yield f'<p class="when">{_e(words.NO_STATEMENT)}</p>'
    yield "</body></html>"


def _work(digest: Digest, zone: ZoneInfo, source: Source) -> Iterator[str]:
    if digest.work:
        yield "<h2>What needs hands</h2><table>"
        for number, item in enumerate(digest.work, start=1):
            yield from _item(number, item, zone, source)
        yield "</table>"
    further = [f"{place_of(i.part)}: {i.deadline.words}, {words.since(i, zone)}" for i in digest.further]
    yield from _list(f"Also open: {len(further)}", further)


def _item(number: int, item: Item, zone: ZoneInfo, source: Source) -> Iterator[str]:
    yield f'<tr><td><p class="soon">{number}. {_e(item.deadline.words)}</p>'
    yield f'<b>{_e(place_of(item.part))}</b> <span class="path">{_e(item.part)}</span>'
    yield f'<p class="when">{_e(words.since(item, zone))}</p><p>{_e(item.leading.sentence)}</p>'
    again = words.again(item, zone)
    if again:
        yield f'<p class="again">{_e(again)}</p>'
    yield f"<p>{_e(item.leading.advice)}</p>"
    yield from _picture(item.leading, place_of(item.part), source)
    yield f"<p>Part number: {_e(item.number or 'not known')}</p>"
    yield "<p>Done by, when: ____________________</p></td></tr>"


def _seen(digest: Digest, zone: ZoneInfo, source: Source) -> Iterator[str]:
    if not digest.seen:
        if not digest.is_quiet:
            yield from _list("What was found", ["Nothing in this time; what stands above is from earlier."])
        return
    shown = {picture_key(i.leading) for i in digest.work}
    yield "<h2>What was found</h2>"
    for machine, rows in groupby(digest.seen, key=lambda s: s.machine):
        yield f"<h3>{_e(machine)}</h3><table>"
        for row in rows:
            yield from _row(row, zone, source, above=picture_key(row.leading) in shown)
        yield "</table>"


def _row(row: Seen, zone: ZoneInfo, source: Source, *, above: bool) -> Iterator[str]:
    yield f"<tr><td><b>{_e(row.part)}</b>, {_e(row.rule)}"
    yield f'<p class="when">{_e(words.when(row, zone))}</p><p>{_e(row.sentence)}</p>'
    consequence = words.consequence(row)
    if consequence:
        yield f"<p>{_e(consequence)}</p>"
    if not above:
        yield from _picture(row.leading, row.part, source)
    yield "</td></tr>"


def _picture(episode: Episode, place: str, source: Source) -> Iterator[str]:
    where = source(picture_key(episode))
    if where is not None:
        yield f'<img src="{_e(where)}" alt="{_e(f"Signals of {place} as the rule saw them")}">'
    shown = words.figures(episode.evidence)
    if shown:
        yield f'<p class="when">{_e(shown)}</p>'


def _list(heading: str, lines: list[str]) -> Iterator[str]:
    if lines:
        rows = "".join(f"<tr><td>{_e(line)}</td></tr>" for line in lines)
        yield f"<h2>{_e(heading)}</h2><table>{rows}</table>"


def _e(text: str) -> str:
    """Text as it may stand in a page; control characters become spaces."""
    return escape("".join(" " if unicodedata.category(c) in ("Cc", "Cf") else c for c in text), quote=True)
