"""A report as source for the typesetter typst: pages with numbers, tables that go on with their heads. Pure.

Every text goes in as a string of the language, never as markup, so that no sign in it means anything.
Source: typst reference 0.15, "String", "Table", "Page".
"""

from __future__ import annotations

import base64
import re
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from io import BytesIO
from typing import Final

from PIL import Image

from trials.report.content import (
    Block,
    Caution,
    Heading,
    Lines,
    Paragraph,
    Photograph,
    Picture,
    Report,
    Section,
    Small,
    Table,
)

FONT: Final = "DejaVu Sans"
_BREAK: Final = "\u200b"
_LONG_WORD: Final = 16
"""A longer word may be broken after a dot or the like; from twice as many characters on, anywhere."""
_NARROW: Final = 13
_MOST_WEIGHT: Final = 45
_TOGETHER: Final = 26
"""A table of so few rows stays on one page."""

_SETUP: Final = """
#set page(paper: "{paper}", margin: (x: 18mm, top: 24mm, bottom: 20mm),
  header: context if counter(page).get().first() > 1 {{
    set text(size: 7.5pt, fill: luma(90))
    grid(columns: (1fr, auto), column-gutter: 8mm, text({left}), text({right}))
    v(-1mm)
    line(length: 100%, stroke: 0.4pt + luma(150))
  }},
  footer: context {{
    set text(size: 7.5pt, fill: luma(90))
    grid(columns: (1fr, auto), text({foot}),
      [#counter(page).display() #text({page_of}) #counter(page).final().first()])
  }})
#set text(font: ("{font}", "Libertinus Serif"), size: 8.6pt, lang: "{language}", hyphenate: true)
#set par(leading: 0.62em, spacing: 0.85em)
#set heading(numbering: "1")
#show heading.where(level: 1): it => block(above: 9mm, below: 4mm, sticky: true, width: 100%,
  stroke: (bottom: 1pt + black), inset: (bottom: 1.6mm))[#text(size: 13pt, weight: "bold", hyphenate: false,
  [#counter(heading).display("1")#h(3mm)#it.body])]
#show heading.where(level: 2): it => block(above: 5.5mm, below: 2.5mm, sticky: true,
  text(size: 9.6pt, weight: "bold", hyphenate: false, it.body))
#show table: set text(size: 7.6pt)
#show table: set par(leading: 0.5em)
#show table.cell: set text(hyphenate: true)
#set table(stroke: none, inset: (x: 1.4mm, y: 1.15mm))
#show figure: set block(breakable: false)
#let small(body) = text(size: 7.6pt, fill: luma(80), body)
#let caption(body) = block(above: 4mm, below: 1.8mm, sticky: true, text(size: 8pt, weight: "bold", body))
#let framed(body) = block(width: 100%, stroke: (left: 2.5pt + black, rest: 0.7pt + black), inset: 3mm,
  above: 4mm, below: 4mm, body)
"""


@dataclass(frozen=True, slots=True)
class Typeset:
    """The source, and the files that it names."""

    files: Mapping[str, bytes]


def typeset(report: Report, *, us_paper: bool = False) -> Typeset:
    """The source of a report.

    Args:
        us_paper: letter rather than A4.
    """
    files: dict[str, bytes] = {}
    left, right = report.running
    setup = _SETUP.format(
        paper="us-letter" if us_paper else "a4",
        left=_t(left),
        right=_t(right),
        foot=_t(report.interim or report.subtitle),
        page_of=_t(report.page_of),
        font=FONT,
        language=report.language,
    )
    year, month, day = report.dated
    date = f"datetime(year: {year}, month: {month}, day: {day})"
    lines = [f"#set document(title: {_t(report.title)}, date: {date})", setup]
    lines.append(f'#text(size: 19pt, weight: "bold", hyphenate: false, {_t(report.title)})')
    lines.append(f"#v(-2mm)\n#text(size: 9.6pt, fill: luma(80), {_t(report.subtitle)})\n")
    if report.interim:
        lines.append(f'#framed(text(weight: "bold", {_t(report.interim)}))')
    for section in report.sections:
        lines += _section(section, files)
        if section.number == 1:
            lines.append(_contents(report))
    return Typeset({"main.typ": "\n".join(lines).encode("utf-8"), **files})


def _contents(report: Report) -> str:
    """Sections and their pages, in two columns at the top of the second page."""
    return (
        f'#pagebreak(weak: true)\n#text(size: 9.6pt, weight: "bold", {_t(report.contents)})\n#v(-1mm)\n'
        "#context {\n"
        "  let found = query(heading.where(level: 1))\n"
        "  let half = calc.ceil(found.len() / 2)\n"
        "  let entry(it) = link(it.location(), "
        "[#counter(heading).at(it.location()).first()#h(2mm)#it.body#h(1mm)"
        "#box(width: 1fr, repeat(gap: 1mm)[.])#h(1mm)#counter(page).at(it.location()).first()])\n"
        "  let cells = ()\n"
        "  for n in range(half) {\n"
        "    cells.push(entry(found.at(n)))\n"
        "    cells.push(if n + half < found.len() { entry(found.at(n + half)) } else { [] })\n"
        "  }\n"
        "  set text(size: 8pt)\n"
        "  grid(columns: (1fr, 1fr), column-gutter: 10mm, row-gutter: 1.8mm, ..cells)\n"
        "}\n"
    )


def _section(section: Section, files: dict[str, bytes]) -> Iterator[str]:
    yield f"= #text({_t(section.title)})"
    for number, block in enumerate(section.blocks, start=1):
        yield from _block(block, f"p{section.number}-{number}.svg", files)


def _block(block: Block, name: str, files: dict[str, bytes]) -> Iterator[str]:
    match block:
        case Paragraph(text, strong):
            size = 'size: 10.4pt, weight: "bold", ' if strong else ""
            yield f"#par(text({size}{_t(text)}))"
        case Small(text):
            yield f"#par(small({_t(text)}))"
        case Lines(items):
            each = ", ".join(f"text({_t(item)})" for item in items)
            yield f"#list({each})" if items else ""
        case Caution(text):
            yield f"#framed(text({_t(text)}))"
        case Heading(text):
            yield f"== #text({_t(text)})"
        case Table():
            yield from _table(block)
        case Picture(svg, caption):
            files[name] = svg
            yield _figure(name, caption, 174)
        case Photograph(jpeg, caption):
            files[name], width_mm = _wrapped(jpeg)
            yield _figure(name, caption, width_mm)


def _figure(name: str, caption: str, width_mm: float) -> str:
    return (
        f"#block(breakable: false, above: 4mm, below: 4mm)[#image({_t(name)}, width: {width_mm:g}mm, "
        f"alt: {_t(caption)})\n#v(-1mm)\n#small({_t(caption)})]"
    )


def _wrapped(jpeg: bytes) -> tuple[bytes, float]:
    """A photograph inside a drawing, for files of text; and how wide it is set, mm."""
    with Image.open(BytesIO(jpeg)) as opened:
        width, height = opened.size
    body = base64.b64encode(jpeg).decode("ascii")
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" '
        f'height="{height}"><image width="{width}" height="{height}" '
        f'href="data:image/jpeg;base64,{body}"/></svg>'
    )
    return svg.encode("ascii"), round(min(110.0, 85.0 * width / height), 1)


def _table(table: Table) -> Iterator[str]:
    columns = table.columns
    if not columns:
        return
    together = len(table.rows) <= _TOGETHER
    yield "#block(breakable: false, above: 3mm, below: 3.5mm, width: 100%)[" if together else ""
    if table.caption:
        yield f"#caption(text({_t(table.caption)}))"
    widths = ", ".join(_widths(table))
    aligns = ", ".join(str(table.aligned(n)) for n in range(columns))
    yield f"#table(columns: ({widths},), align: ({aligns},),"
    if table.head:
        cells = ", ".join(f'text(weight: "bold", {_t(c)})' for c in table.head)
        yield f"  table.hline(stroke: 0.9pt), table.header({cells}, table.hline(stroke: 0.5pt)),"
    else:
        yield "  table.hline(stroke: 0.9pt),"
    for number, row in enumerate(table.rows):
        full = (*row, *("",) * (columns - len(row)))
        rule = "table.hline(stroke: 0.25pt + luma(190)), " if number else ""
        yield f"  {rule}{', '.join(_body(c, n, table) for n, c in enumerate(full))},"
    yield f"  table.hline(stroke: 0.9pt)){']' if together else ''}"


def _body(text: str, column: int, table: Table) -> str:
    shade = ", fill: luma(80)" if not table.head and column == 0 else ""
    return f"text({_t(text)}{shade})"


def _widths(table: Table) -> list[str]:
    """Narrow columns as wide as what stands in them, the others in relation to it."""
    if table.weights:
        return [f"{w:g}fr" for w in table.weights]
    longest = [
        max((len(r[n]) for r in (table.head, *table.rows) if n < len(r)), default=1)
        for n in range(table.columns)
    ]
    narrow = [n <= _NARROW for n in longest]
    if all(narrow):
        narrow[longest.index(max(longest))] = False
    return [
        "auto" if few else f"{min(n, _MOST_WEIGHT) ** 0.6:.2f}fr"
        for n, few in zip(longest, narrow, strict=True)
    ]


def _t(text: str) -> str:
    """Text as a string of the source: what could end it is escaped, long words may break."""
    clean = "".join(" " if unicodedata.category(c) in ("Cc", "Cs") else c for c in text)
    broken = re.sub(rf"[^\s{_BREAK}]{{{_LONG_WORD},}}", lambda m: _breakable(m[0]), clean)
    return '"' + broken.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _breakable(word: str) -> str:
    if (len(word) >= 2 * _LONG_WORD and not word.isalpha()) or len(word) > 3 * _LONG_WORD:
        pieces = re.findall(rf".{{1,{_LONG_WORD // 2}}}", word)
        return _BREAK.join(pieces)
    return re.sub(r"([./_\\-])(?=\w)", rf"\1{_BREAK}", word)
