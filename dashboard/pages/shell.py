"""What every page stands in: the band, the line's name, the way to the other page, the paper's switch."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import dash
from dash import ClientsideFunction, Input, Output, dcc, html

from dashboard.lines import Lines
from dashboard.pages import live, trial
from dashboard.pages.aria import aria

PAGES = {"/": "The line now", "/trial": "The trial"}


def layout() -> html.Div:
    """The frame without any data."""
    return html.Div(
        [
            dcc.Location(id="url", refresh=False),
            dcc.Store(id="paper", data="light"),
            html.Div(id="band", className="band", role="note"),
            html.Div(id="link-lost", className="link-lost", role="alert"),
            html.Header(
                [
                    html.Span(id="line-name", className="line-name"),
                    html.Nav(id="ways", **aria(label="Pages")),
                    html.Span(id="site-clock", className="site-clock"),
                    html.Button("Light or dark", id="paper-switch", n_clicks=0, className="plain"),
                ],
                className="strip",
            ),
            html.Main(id="page", className="sheet"),
        ]
    )


def register(app: dash.Dash, lines: Lines) -> None:
    """What the frame does: show the page that the address names, and switch the paper."""
    in_browser: Any = app.clientside_callback
    in_browser(
        ClientsideFunction("ledger", "paper"), Output("paper", "data"), Input("paper-switch", "n_clicks")
    )

    @app.callback(
        Output("page", "children"),
        Output("ways", "children"),
        Output("line-name", "children"),
        Output("band", "children"),
        Input("url", "pathname"),
        Input("url", "search"),
    )
    def _show(path: str | None, search: str | None) -> tuple[Any, Any, str, str]:
        line = lines.of(search)
        page = path if path in PAGES else ""
        shown = _LAYOUTS.get(page, _unknown)()
        band = "SIMULATED" if line.simulated else ""
        return shown, _ways(page, line.name, lines.names), line.name, band


_LAYOUTS: dict[str, Callable[[], Any]] = {"/": live.layout, "/trial": trial.layout}


def _ways(page: str, line: str, names: Sequence[str]) -> list[Any]:
    """The way to each page of this line, and to the other lines."""
    here = [
        dcc.Link(title, href=lines_href(path, line, names), className="here" if path == page else "")
        for path, title in PAGES.items()
    ]
    others = [dcc.Link(name, href=lines_href(page or "/", name, names)) for name in names if name != line]
    return [*here, *others]


def lines_href(path: str, line: str, names: Sequence[str]) -> str:
    """A page's address; the line is named only where there are several."""
    return path if len(names) < 2 else f"{path}?line={line}"


def _unknown() -> Any:
    return html.P(
        [
            "There is no page at this address. Two pages are here: ",
            dcc.Link("The line now", href="/"),
            " and ",
            dcc.Link("The trial", href="/trial"),
            ".",
        ],
        className="empty",
    )
