"""A report as one HTML page: styles and pictures within it, no script, nothing from elsewhere. Pure."""

from __future__ import annotations

import base64
import re
import unicodedata
from collections.abc import Iterator
from html import escape
from typing import Final

from trials.report.content import (
    Align,
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

_STYLE: Final = """
body{font:15px/1.45 system-ui,"Segoe UI","Liberation Sans",Arial,sans-serif;color:#1a1a1a;background:#fff;
margin:0 auto;padding:24px 16px;max-width:860px;overflow-wrap:break-word}
h1{font-size:27px;line-height:1.2;margin:0 0 2px}
h2{font-size:20px;margin:40px 0 10px;padding-bottom:4px;border-bottom:2px solid #1a1a1a}
h3{font-size:16px;margin:24px 0 6px}
p{margin:6px 0}
.lead{font-size:17px}
.sub,.small{color:#4a4a4a}
.small{font-size:13px}
.interim,.caution{border:1.5px solid #1a1a1a;border-left-width:6px;padding:8px 12px;margin:12px 0}
.interim{font-weight:600}
ul{margin:6px 0;padding-left:20px}
nav ol{columns:2;padding-left:24px}
.wide{overflow-x:auto;margin:10px 0 16px}
table{border-collapse:collapse;width:100%;font-size:13.5px;border-bottom:1.2px solid #1a1a1a}
caption{text-align:left;font-weight:600;padding:0 0 4px}
th,td{padding:4px 14px 4px 0;text-align:left;vertical-align:top;overflow-wrap:anywhere}
thead th{border-top:1.2px solid #1a1a1a;border-bottom:.8px solid #1a1a1a}
table.bare{border-top:1.2px solid #1a1a1a}
tbody tr+tr>*{border-top:.5px solid #ccc}
.right{text-align:right;overflow-wrap:normal;white-space:nowrap;font-variant-numeric:tabular-nums}
table.bare td:first-child{color:#4a4a4a;width:34%}
figure{margin:14px 0}
figure svg,figure img{max-width:100%;height:auto;display:block}
figcaption{color:#4a4a4a;font-size:13px;margin-top:4px}
a{color:inherit}
@page{size:A4;margin:18mm 16mm}
@media print{body{max-width:none;padding:0;font-size:10.5pt}h2,h3{break-after:avoid}tr,figure,
.caution{break-inside:avoid}thead{display:table-header-group}.wide{overflow:visible}nav{display:none}}
""".replace("\n", "")


def as_html(report: Report) -> str:
    """The page."""
    return "\n".join(_page(report)) + "\n"


def _page(report: Report) -> Iterator[str]:
    yield f'<!DOCTYPE html>\n<html lang="{_e(report.language)}"><head><meta charset="utf-8">'
    yield '<meta name="viewport" content="width=device-width, initial-scale=1">'
    yield '<meta name="robots" content="noindex">'
    yield f"<title>{_e(report.title)}</title><style>{_STYLE}</style></head><body>"
    yield f'<header><h1>{_e(report.title)}</h1><p class="sub">{_e(report.subtitle)}</p>'
    if report.interim:
        yield f'<p class="interim">{_e(report.interim)}</p>'
    yield f'</header>\n<nav aria-label="{_e(report.contents)}"><ol>'
    for section in report.sections:
        yield f'<li><a href="#s{section.number}">{_e(section.title)}</a></li>'
    yield "</ol></nav>\n<main>"
    for section in report.sections:
        yield from _section(section)
    yield "</main></body></html>"


def _section(section: Section) -> Iterator[str]:
    yield f'<section><h2 id="s{section.number}">{section.number}. {_e(section.title)}</h2>'
    for number, block in enumerate(section.blocks, start=1):
        yield from _block(block, f"p{section.number}-{number}")
    yield "</section>"


def _block(block: Block, name: str) -> Iterator[str]:
    match block:
        case Paragraph(text, strong):
            yield f'<p class="lead"><strong>{_e(text)}</strong></p>' if strong else f"<p>{_e(text)}</p>"
        case Small(text):
            yield f'<p class="small">{_e(text)}</p>'
        case Lines(items):
            yield "<ul>" + "".join(f"<li>{_e(item)}</li>" for item in items) + "</ul>"
        case Caution(text):
            yield f'<p class="caution">{_e(text)}</p>'
        case Heading(text):
            yield f"<h3>{_e(text)}</h3>"
        case Table():
            yield from _table(block)
        case Picture(svg, caption):
            yield f'<figure role="img" aria-label="{_e(caption)}">{_inline(svg, name)}'
            yield f"<figcaption>{_e(caption)}</figcaption></figure>"
        case Photograph(jpeg, caption):
            body = base64.b64encode(jpeg).decode("ascii")
            yield f'<figure><img alt="{_e(caption)}" src="data:image/jpeg;base64,{body}">'
            yield f"<figcaption>{_e(caption)}</figcaption></figure>"


def _table(table: Table) -> Iterator[str]:
    kind = "" if table.head else ' class="bare"'
    yield f'<div class="wide"><table{kind}>'
    if table.caption:
        yield f"<caption>{_e(table.caption)}</caption>"
    if table.head:
        cells = "".join(_cell("th", text, table, n) for n, text in enumerate(table.head))
        yield f"<thead><tr>{cells}</tr></thead>"
    yield "<tbody>"
    for row in table.rows:
        yield "<tr>" + "".join(_cell("td", text, table, n) for n, text in enumerate(row)) + "</tr>"
    yield "</tbody></table></div>"


def _cell(kind: str, text: str, table: Table, column: int) -> str:
    right = ' class="right"' if table.aligned(column) is Align.RIGHT else ""
    scope = ' scope="col"' if kind == "th" else ""
    return f"<{kind}{right}{scope}>{_e(text)}</{kind}>"


def _inline(svg: bytes, name: str) -> str:
    """The drawing without what stands before it; its names are made its own, for a page has many drawings."""
    text = svg.decode("utf-8")
    text = text[text.index("<svg") :].strip()
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    text = re.sub(r'\bid="([^"]+)"', rf'id="{name}-\1"', text)
    text = re.sub(r'href="#([^"]+)"', rf'href="#{name}-\1"', text)
    return re.sub(r"url\(#([^)]+)\)", rf"url(#{name}-\1)", text)


def _e(text: str) -> str:
    """Text as it may stand in a page; control characters become spaces."""
    return escape(
        "".join(" " if unicodedata.category(c) in ("Cc", "Cf", "Cs") else c for c in text), quote=True
    )
