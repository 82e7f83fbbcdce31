"""The trial, as a ledger: everything that happened on one time axis."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import dash
from dash import ALL, ClientsideFunction, Input, Output, State, ctx, dcc, html, no_update

from dashboard.graph import graph
from dashboard.ledger_figure import ledger_figure
from dashboard.lines import Lines
from dashboard.pages.aria import aria
from dashboard.pages.evidence import alarm_table, evidence_panel
from dashboard.pages.parts import NOT_SAFETY
from dashboard.palette import palette
from dashboard.reads import LineReads
from dashboard.sheet import LEFT, RIGHT
from dashboard.trial_window import Window, address, checked, from_address, from_zoom, moved
from dashboard.words import offset_ms
from historian.errors import MeltledgerError

Clock = Callable[[], int]

MOVES = {"whole": "Whole trial", "earlier": "Earlier", "later": "Later", "closer": "Closer", "wider": "Wider"}
SHEET_PADDING_PX = 48
PAPER_MS = 500


def layout() -> list[Any]:
    """The page without data."""
    return [
        dcc.Store(id="width", data=1280),
        dcc.Store(id="window"),
        # A callback may not mix what stands in the frame with what stands on one page only, so the page looks
        # by itself which paper is wanted.
        dcc.Store(id="trial-paper"),
        dcc.Interval(id="trial-tick", interval=PAPER_MS),
        html.H1(
            [
                html.Span(id="trial-title", role="status", **aria(live="polite")),
                " ",
                html.Span(id="trial-sentence", className="outlook"),
            ],
            className="headline",
        ),
        html.Div(
            [
                *[
                    html.Button(text, id={"move": how}, n_clicks=0, className="plain")
                    for how, text in MOVES.items()
                ],
                html.Span("Draw across the picture to look closer.", className="spanned"),
                html.A("Link to this window", id="trial-link", href="/trial", className="button"),
            ],
            className="tools",
        ),
        html.P(id="trial-refusal", className="refusal", role="alert"),
        html.Section(_picture(), className="ledger", **aria(label="The ledger as a picture")),
        html.Section(
            [
                html.Div([html.H2("Alarms in this window"), html.Div(id="alarm-table")]),
                html.Div(
                    [html.H2("Why an alarm was raised"), html.Div(id="evidence", role="status")],
                ),
            ],
            className="below",
        ),
        html.Footer(html.P(NOT_SAFETY, className="not-safety"), className="foot"),
    ]


def _picture() -> dcc.Graph:
    return graph(
        "ledger", bar=True, style={"height": "960px"}, figure={"data": [], "layout": {"height": 960}}
    )


def register(app: dash.Dash, lines: Lines, clock: Clock) -> None:
    """Wire the page: address, zoom and buttons choose a window; the window draws the sheet."""
    in_browser: Any = app.clientside_callback
    in_browser(ClientsideFunction("ledger", "width"), Output("width", "data"), Input("trial-link", "id"))
    in_browser(
        ClientsideFunction("ledger", "followPaper"),
        Output("trial-paper", "data"),
        Input("trial-tick", "n_intervals"),
        State("paper", "data"),
        State("trial-paper", "data"),
    )
    _register_window(app, lines, clock)
    _register_sheet(app, lines)
    _register_evidence(app, lines)


def _register_window(app: dash.Dash, lines: Lines, clock: Clock) -> None:
    @app.callback(
        Output("window", "data"),
        Output("trial-refusal", "children"),
        Input("ledger", "relayoutData"),
        Input({"move": ALL}, "n_clicks"),
        State("window", "data"),
        State("url", "search"),
    )
    def _choose(zoom: Any, _moves: Any, window: Any, search: str | None) -> Any:
        line, now_ns = lines.of(search), clock()
        try:
            chosen = chosen_window(line, ctx.triggered_id, zoom, search, read_window(window), now_ns)
        except MeltledgerError as error:
            return (no_update if window else packed(line.window(now_ns))), str(error)
        return (no_update, no_update) if chosen is None else (packed(chosen), "")


def chosen_window(
    line: LineReads, asked: Any, zoom: Any, search: str | None, window: Window | None, now_ns: int
) -> Window | None:
    """The window after what a person did; None when nothing is to change.

    Raises:
        WrongInput: an address that cannot be read.
    """
    if window is None:
        return from_address(search, line.zone) or line.window(now_ns)
    if asked == "ledger":
        return from_zoom(zoom, offset_ms(window[0], line.zone)) or (
            line.window(now_ns) if zoom and zoom.get("xaxis.autorange") else None
        )
    if isinstance(asked, dict) and asked.get("move") in MOVES:
        return moved(window, asked["move"], line.window(now_ns))
    return None


def packed(window: Window) -> list[str]:
    """A window for the browser: as texts, for its numbers cannot hold nanoseconds."""
    return [str(window[0]), str(window[1])]


def read_window(data: Any) -> Window | None:
    """The window that the browser kept; None when it kept none that makes sense."""
    try:
        start_ns, end_ns = (int(text) for text in data)
        return checked((start_ns, end_ns))
    except (TypeError, ValueError, MeltledgerError):
        return None


def _register_sheet(app: dash.Dash, lines: Lines) -> None:
    @app.callback(
        Output("ledger", "figure"),
        Output("ledger", "style"),
        Output("trial-title", "children"),
        Output("trial-sentence", "children"),
        Output("trial-link", "href"),
        Output("alarm-table", "children"),
        Input("window", "data"),
        Input("trial-paper", "data"),
        State("width", "data"),
        State("url", "search"),
    )
    def _draw(data: Any, paper: str | None, width: Any, search: str | None) -> Any:
        line, window = lines.of(search), read_window(data)
        if window is None or paper is None:
            return [no_update] * 6
        try:
            ledger = line.timeline(*window, columns_of(width))
        except MeltledgerError as error:
            return [no_update, no_update, f"This line's data cannot be read now: {error}", *[no_update] * 3]
        figure = ledger_figure(ledger, palette(paper))
        link = f"/trial{address(window)}" + (f"&line={line.name}" if len(lines.names) > 1 else "")
        height = {"height": f"{figure['layout']['height']}px"}
        return figure, height, f"{ledger.title}.", ledger.sentence, link, alarm_table(ledger.lines)


def columns_of(width: Any) -> int:
    """Pixel columns of the picture on a page of that width."""
    known = width if isinstance(width, int) and not isinstance(width, bool) else 1280
    return max(200, min(known, 4000) - LEFT - RIGHT - SHEET_PADDING_PX)


def _register_evidence(app: dash.Dash, lines: Lines) -> None:
    @app.callback(
        Output("evidence", "children"),
        Input("ledger", "clickData"),
        Input({"why": ALL}, "n_clicks"),
        State("window", "data"),
        State("url", "search"),
    )
    def _why(click: Any, _asked: Any, data: Any, search: str | None) -> Any:
        key = ""
        if isinstance(ctx.triggered_id, dict) and ctx.triggered[0]["value"]:
            key = str(ctx.triggered_id["why"])
        elif ctx.triggered_id == "ledger":
            key = clicked_alarm(click)
        window = read_window(data)
        if not key or window is None:
            return no_update if ctx.triggered_id else evidence_panel(None, "")
        line = lines.of(search)
        try:
            seen = line.evidence(key, window[1])
        except MeltledgerError as error:
            return html.P(str(error))
        lines_named = len(lines.names) > 1
        return evidence_panel(seen, f"&line={line.name}" if lines_named else "")


def clicked_alarm(click: Any) -> str:
    """The alarm whose bar was clicked; empty for anything else."""
    points = click.get("points") if isinstance(click, dict) else None
    for point in points or ():
        key = point.get("customdata") if isinstance(point, dict) else None
        if isinstance(key, list):
            key = key[0] if key else None
        if isinstance(key, str) and "|" in key:
            return key
    return ""
