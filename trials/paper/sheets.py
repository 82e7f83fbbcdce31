"""Run sheet and labels as pages to print, whole in themselves: no script, no picture from elsewhere. Pure.

The run sheet asks what happened and when; what is entered from it later keeps both times apart (``--at``).
Labels fit sheets of 3 × 8 on A4 (70 mm × 37 mm); common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape
from typing import Final

import segno

from trials.paper.code import Code, Kind

_PER_PAGE: Final = 24
_EMPTY_ROWS: Final = 24
_STYLE: Final = """
@page { size: A4; margin: 0 }
* { box-sizing: border-box }
body { margin: 0; font: 10pt/1.3 system-ui, sans-serif; color: #000; background: #fff }
.labels { width: 210mm; height: 296mm; display: grid; grid-template: repeat(8, 37mm) / repeat(3, 70mm);
  break-after: page }
.label { padding: 4mm; display: flex; gap: 3mm; align-items: center; overflow: hidden }
.label svg { width: 24mm; height: 24mm; flex: none }
.label b { display: block; font-size: 16pt } .label p { margin: 0; overflow-wrap: anywhere }
.sheet { padding: 14mm } .head { display: flex; justify-content: space-between; gap: 8mm }
.head svg { width: 26mm; height: 26mm; flex: none } h1 { margin: 0 0 2mm; font-size: 16pt }
h2 { font-size: 11pt; margin: 6mm 0 2mm; break-after: avoid }
.next { break-before: page; padding-top: 8mm } table { width: 100%; border-collapse: collapse }
th, td { border: 0.3mm solid #555; padding: 1mm 2mm; text-align: left; vertical-align: top;
  overflow-wrap: anywhere }
td { height: 8mm } thead { display: table-header-group } tr { break-inside: avoid } .note { font-size: 9pt }
"""


@dataclass(frozen=True, slots=True)
class Sheet:
    """What a trial's papers show.

    Attributes:
        trial: its number in the record.
        name: as the site calls it.
        code_name: the customer's.
        line: the line's name.
        question: the customer's, from the plan; empty when none is planned.
        settings: what is planned, label and value as written.
    """

    trial: int
    name: str
    code_name: str
    line: str
    question: str = ""
    settings: Sequence[tuple[str, str]] = ()


def labels_html(sheet: Sheet, codes: Iterable[Code]) -> str:
    """Labels, 24 on a page; each with its code, name and trial."""
    labels = [_label(sheet, code) for code in codes]
    pages = [labels[k : k + _PER_PAGE] for k in range(0, len(labels), _PER_PAGE)]
    body = "".join(f'<div class="labels">{"".join(page)}</div>' for page in pages)
    return _page(f"Labels {_called(sheet)}", body)


def run_sheet_html(sheet: Sheet) -> str:
    """The sheet that is filled in by hand at the line."""
    planned = "".join(_row([label, value]) for label, value in sheet.settings)
    code = Code(sheet.trial)
    body = f"""<div class="sheet"><div class="head"><div><h1>{escape(sheet.name)}</h1>
<p>{escape(sheet.line)} · {escape(sheet.code_name or "—")} · {code.shown}</p>
<p>{escape(sheet.question)}</p></div>{_picture(code)}</div>
{f"<h2>Planned</h2><table>{planned}</table>" if planned else ""}
<h2>What happened</h2>
<p class="note">Write down when it was so. What is entered later keeps that time beside the time of entering
it. A mistake is crossed out once, so that it can still be read, and initialled.</p>
{_table(["time", "what: note, screen, lot, cleaning, sample, bag", "by"], 3)}
<h2 class="next">Discharge, in its bucket</h2>
{_table(["from", "to", "bucket", "tare kg", "gross kg", "by"], 6, 10)}
<h2>Bags</h2>
{_table(["bag", "full at", "net kg", "good / reject / held back", "by"], 5, 16)}</div>"""
    return _page(f"Run sheet {_called(sheet)}", body)


def _label(sheet: Sheet, code: Code) -> str:
    what = {Kind.SAMPLE: "sample", Kind.BAG: "bag", Kind.TRIAL: "trial"}[code.kind]
    return (
        f'<div class="label">{_picture(code)}<div><b>{escape(code.name or sheet.code_name)}</b>'
        f"<p>{what} · {escape(_called(sheet))}</p><p>{code.shown}</p></div></div>"
    )


def _picture(code: Code) -> str:
    made = segno.make_qr(code.text, error="m", boost_error=False)
    return str(made.svg_inline(border=2, omitsize=True))


def _called(sheet: Sheet) -> str:
    """Code name and number: labels leave the house."""
    return f"{sheet.code_name or 'trial'}-{sheet.trial}"


def _table(heads: Sequence[str], columns: int, rows: int = _EMPTY_ROWS) -> str:
    head = "".join(f"<th>{escape(h)}</th>" for h in heads)
    return f"<table><thead><tr>{head}</tr></thead>{_row([''] * columns) * rows}</table>"


def _row(cells: Sequence[str]) -> str:
    return f"<tr>{''.join(f'<td>{escape(c)}</td>' for c in cells)}</tr>"


def _page(title: str, body: str) -> str:
    return (
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><title>{escape(title)}</title>'
        f"<style>{_STYLE}</style></head><body>{body}</body></html>\n"
    )
