"""The line now: read from three metres above, from one metre below."""

from __future__ import annotations

import zlib
from collections.abc import Callable, Mapping
from typing import Any

import dash
from dash import Input, Output, Patch, State, dcc, html, no_update

from dashboard.acts import OFTEN, SELDOM
from dashboard.figures import cleanings_figure
from dashboard.graph import graph
from dashboard.lines import Lines
from dashboard.pages import parts
from dashboard.pages.aria import aria
from dashboard.pages.shelf import form
from dashboard.palette import palette
from dashboard.views import LiveView, MachineView
from historian.errors import MeltledgerError

Clock = Callable[[], int]

POLL_MS = 1000


def layout() -> list[Any]:
    """The page without data."""
    return [
        dcc.Interval(id="poll", interval=POLL_MS),
        dcc.Store(id="shown", data={}),
        dcc.Store(id="shelving", data=""),
        html.Div(id="pulse", hidden=True),
        html.H1(
            [
                html.Span(id="headline", role="status", **aria(live="polite")),
                " ",
                html.Span(id="outlook", className="outlook"),
            ],
            className="headline",
        ),
        html.Section(id="figures", className="figures", **aria(label="Seven figures")),
        html.Div(
            [
                html.Section(
                    [
                        html.H2("What the screen did"),
                        html.P(id="no-cleanings", className="empty"),
                        _cleanings(),
                    ],
                    className="panel",
                ),
                html.Section(
                    [html.H2("What needs a person"), html.Div(id="alarms"), html.Div(id="own-alarms")],
                    className="panel",
                    id="needs",
                ),
            ],
            className="panels",
        ),
        html.Div([html.Span(id="zones"), html.Span(id="wiper")], className="ranked"),
        _marks(),
        html.Footer(
            [
                html.Div(id="facts", className="facts"),
                html.P(parts.NOT_SAFETY, className="not-safety"),
            ],
            className="foot",
        ),
        html.Div(id="machines", className="machines"),
        form(),
    ]


def _cleanings() -> dcc.Graph:
    return graph("cleanings", style={"height": "240px"}, figure={"data": [], "layout": {"height": 240}})


def _marks() -> html.Div:
    return html.Div(
        [
            html.Span("Mark an event:"),
            *parts.mark_buttons(OFTEN),
            html.Details([html.Summary("More marks"), *parts.mark_buttons(SELDOM)], className="seldom"),
            html.Label("By", htmlFor="who"),
            dcc.Input(
                id="who",
                type="text",
                maxLength=40,
                placeholder="name or initials",
                persistence=True,
                persistence_type="local",
                debounce=True,
                className="who",
            ),
            html.Span(id="marked"),
            html.Span(id="said", className="refusal", role="status"),
        ],
        className="marks",
    )


PARTS = (
    "headline",
    "outlook",
    "figures",
    "alarms",
    "own-alarms",
    "zones",
    "wiper",
    "marked",
    "facts",
    "site-clock",
)


def register(app: dash.Dash, lines: Lines, clock: Clock) -> None:
    """The one poll of the page: every second, only what changed."""

    @app.callback(
        *[Output(part, "children") for part in PARTS],
        Output("no-cleanings", "children"),
        Output("cleanings", "figure"),
        Output("machines", "children"),
        Output("pulse", "children"),
        Output("shown", "data"),
        Input("poll", "n_intervals"),
        State("paper", "data"),
        State("url", "search"),
        State("shown", "data"),
    )
    def _poll(beat: int | None, paper: str | None, search: str | None, shown: dict[str, int] | None) -> Any:
        line, now_ns = lines.of(search), clock()
        nothing = [no_update] * (len(PARTS) + 5)
        try:
            view, machines = line.live(now_ns), line.machines(now_ns)
        except MeltledgerError as error:
            # No beat: the page marks everything as old by itself.
            return [f"This line's data cannot be read now: {error}", *nothing[1:]]
        before = {} if shown is None or shown.get("line") != crc(line.name) else shown
        after = {"line": crc(line.name)} | digests(view, machines, paper)
        updates = [
            made() if before.get(part) != after[part] else no_update for part, made in _makers(view).items()
        ]
        figure: Any = no_update
        if before.get("cleanings") != after["cleanings"]:
            figure = cleanings_figure(view.cleanings, view.trigger_bar, view.zone, palette(paper))
        return [
            *updates,
            _no_cleanings(view),
            figure,
            changed_machines(machines, before, after),
            _beat(now_ns, beat, view.clock),
            after,
        ]


def _beat(now_ns: int, beat: int | None, clock: str) -> html.Span:
    """What tells the browser that the server answered, and the site's time of it."""
    told: dict[str, Any] = {"data-clock": clock}
    return html.Span(f"{now_ns} {beat}", id="beat", **told)


def _makers(view: LiveView) -> Mapping[str, Callable[[], Any]]:
    """Part of the page → what makes it from the view."""
    return {
        "headline": lambda: view.headline,
        "outlook": lambda: view.outlook,
        "figures": lambda: [parts.figure_tile(r) for r in view.readings],
        "alarms": lambda: parts.alarm_list(view.alarms),
        "own-alarms": lambda: parts.own_alarm_list(view.own_alarms),
        "zones": lambda: f"Zones: {view.zones}",
        "wiper": lambda: f"Wiper: {view.wiper}",
        "marked": lambda: parts.marks_said(view.marks),
        "facts": lambda: [html.Span(view.age), html.Span(view.trial), *parts.source_facts(view.sources)],
        "site-clock": lambda: view.clock,
    }


def digests(view: LiveView, machines: tuple[MachineView, ...], paper: str | None) -> dict[str, int]:
    """A short number for what each part shows, so that the next poll knows what changed."""
    shown: dict[str, object] = {
        "headline": view.headline,
        "outlook": view.outlook,
        "figures": view.readings,
        "alarms": view.alarms,
        "own-alarms": view.own_alarms,
        "zones": view.zones,
        "wiper": view.wiper,
        "marked": view.marks,
        "facts": (view.age, view.sources, view.trial),
        "site-clock": view.clock,
        "cleanings": (view.cleanings, view.trigger_bar, paper),
        "machines": [m.name for m in machines],
    }
    return {part: crc(repr(value)) for part, value in shown.items()} | {
        f"machine {m.name}": crc(repr(m)) for m in machines
    }


def crc(text: str) -> int:
    """A short number for a text."""
    return zlib.crc32(text.encode("utf-8", "replace"))


def changed_machines(
    machines: tuple[MachineView, ...], before: Mapping[str, int], after: Mapping[str, int]
) -> Any:
    """All machines when their list changed, else only those whose figures did."""
    if before.get("machines") != after["machines"]:
        return [parts.machine_section(m) for m in machines]
    patch, changed = Patch(), False
    for place, machine in enumerate(machines):
        name = f"machine {machine.name}"
        if before.get(name) != after[name]:
            patch[place] = parts.machine_section(machine)
            changed = True
    return patch if changed else no_update


def _no_cleanings(view: LiveView) -> Any:
    if view.cleanings:
        return ""
    return "No cleaning was seen in the last three hours. Each one will stand here as a bar."
