"""The alarms of a window as a table, and why one of them was raised."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import dcc, html

from dashboard.pages.aria import aria
from dashboard.pages.parts import bars
from dashboard.trial_window import address
from dashboard.views import AlarmLine, EvidenceView

AROUND_NS = 300_000_000_000
"""The signal is shown this much around the window that the rule looked at."""


def alarm_table(lines: Sequence[AlarmLine]) -> Any:
    """Every alarm of the window, gravest first; each opens its evidence."""
    if not lines:
        return html.P("No alarm stood in this window.", className="empty")
    return html.Table(
        [
            html.Thead(html.Tr([html.Th("How soon"), html.Th("What"), html.Th("When"), html.Th("")])),
            html.Tbody([_line(line) for line in lines]),
        ]
    )


def _line(line: AlarmLine) -> html.Tr:
    return html.Tr(
        [
            html.Td([bars(line.bars, line.word), line.word], className=f"bars-cell p{max(1, line.bars)}"),
            html.Td(f"{line.sentence}" + (" (found late)" if line.late else "")),
            html.Td(line.span),
            html.Td(
                html.Button(
                    "Why",
                    id={"why": line.key},
                    n_clicks=0,
                    className="plain",
                    **aria(label=f"Why: {line.place}"),
                )
            ),
        ]
    )


def evidence_panel(seen: EvidenceView | None, line_query: str) -> Any:
    """What convinced the rule, what a person may do, and what people did.

    Args:
        line_query: what the address needs beside the window, where there are several lines.
    """
    if seen is None:
        return html.P("Press Why beside an alarm, or its bar in the picture.", className="empty")
    start_ns, end_ns = seen.window_ns
    figures = [html.Tr([html.Th(name, scope="row"), html.Td(value)]) for name, value in seen.figures]
    acts = [html.Tr([html.Th(clock, scope="row"), html.Td(words)]) for clock, words in seen.acts]
    return html.Div(
        [
            html.P([html.Span(seen.word, className="word"), f" · {seen.place}"]),
            html.P(seen.sentence, className="what"),
            html.P(seen.advice, className="advice"),
            html.P(f"The rule {seen.window}" + (f": {', '.join(seen.tags)}." if seen.tags else ".")),
            html.Table(html.Tbody(figures)) if figures else None,
            html.H2("What happened to it"),
            html.Table(html.Tbody(acts)) if acts else html.P("Nothing yet."),
            dcc.Link(
                "Show the signals around it",
                href=f"/trial{address((max(0, start_ns - AROUND_NS), end_ns + AROUND_NS))}{line_query}",
                className="button",
            ),
        ],
        className=f"chosen p{max(1, seen.bars)}",
    )
