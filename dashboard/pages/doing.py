"""What people do on the live page: seen here, shelve, mark, undo. Each becomes an act in the journal."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import dash
from dash import ALL, ClientsideFunction, Input, Output, State, ctx, no_update

from dashboard import acts
from dashboard.alarm_views import parts_of
from dashboard.errors import ActRefused
from dashboard.lines import Lines
from dashboard.reads import LineReads
from historian.errors import MeltledgerError
from rules.entry import Act

Clock = Callable[[], int]

ONLY_ENGINEER = (
    "An alarm of the first priority is shelved by an engineer only, and this release has no accounts yet: "
    "it stays in sight."
)


def register(app: dash.Dash, lines: Lines, clock: Clock) -> None:
    """Wire the buttons."""
    _register_quick(app, lines, clock)
    _register_shelf(app, lines, clock)


def _register_quick(app: dash.Dash, lines: Lines, clock: Clock) -> None:
    @app.callback(
        Output("said", "children"),
        Input({"act": "seen", "key": ALL}, "n_clicks"),
        Input({"mark": ALL}, "n_clicks"),
        Input({"undo": ALL, "text": ALL}, "n_clicks"),
        State("who", "value"),
        State("url", "search"),
        prevent_initial_call=True,
    )
    def _quick(_seen: Any, _marked: Any, _undone: Any, who: Any, search: str | None) -> Any:
        asked = ctx.triggered_id
        # A button that is drawn anew reports no click.
        if not isinstance(asked, dict) or not ctx.triggered[0]["value"]:
            return no_update
        try:
            line = lines.of(search)
            line.record(quick_act(line, asked, who, clock()))
        except MeltledgerError as error:
            return str(error)
        return ""


def quick_act(line: LineReads, asked: dict[str, Any], who: Any, now_ns: int) -> Act:
    """The act that a button stands for.

    Raises:
        ActRefused: a button that this page does not have.
    """
    if "mark" in asked:
        return acts.mark(asked["mark"], who, now_ns)
    if "undo" in asked:
        standing = {m.id: m.text for m in line.live(now_ns).marks}
        if asked["undo"] not in standing:
            raise ActRefused("This mark cannot be taken back any more: add a note that says so.")
        return acts.take_back(asked["undo"], standing[asked["undo"]], who, now_ns)
    rule, subject = parts_of(str(asked.get("key", "")))
    known = {(a.rule, a.subject) for a in line.live(now_ns).alarms}
    if (rule, subject) not in known:
        raise ActRefused("This alarm does not stand any more.")
    return acts.seen(rule, subject, who, now_ns)


def _register_shelf(app: dash.Dash, lines: Lines, clock: Clock) -> None:
    in_browser: Any = app.clientside_callback
    in_browser(
        ClientsideFunction("ledger", "toField"), Output("shelve-form", "title"), Input("shelving", "data")
    )

    @app.callback(
        Output("shelve-form", "hidden"),
        Output("shelving", "data"),
        Output("shelve-what", "children"),
        Output("shelve-refusal", "children"),
        Output("shelve-reason", "value"),
        Input({"act": "shelve", "key": ALL}, "n_clicks"),
        Input("shelve-do", "n_clicks"),
        Input("shelve-cancel", "n_clicks"),
        State("shelving", "data"),
        State("shelve-reason", "value"),
        State("shelve-minutes", "value"),
        State("who", "value"),
        State("url", "search"),
        prevent_initial_call=True,
    )
    def _shelf(
        _open: Any, _do: Any, _cancel: Any, key: Any, reason: Any, minutes: Any, who: Any, search: str | None
    ) -> Any:
        if not ctx.triggered[0]["value"]:
            return [no_update] * 5
        line, now_ns = lines.of(search), clock()
        if ctx.triggered_id == "shelve-cancel":
            return True, "", "", "", ""
        if ctx.triggered_id == "shelve-do":
            try:
                line.record(shelf_act(line, str(key), who, now_ns, minutes=minutes, reason=reason))
            except MeltledgerError as error:
                return no_update, no_update, no_update, str(error), no_update
            return True, "", "", "", ""
        key = str(ctx.triggered_id["key"])
        found = next((a for a in line.live(now_ns).alarms if a.key == key), None)
        if found is None:
            return [no_update] * 5
        return False, key, f"{found.place}: {found.sentence}", ONLY_ENGINEER if found.bars == 3 else "", ""


def shelf_act(line: LineReads, key: str, who: Any, now_ns: int, *, minutes: Any, reason: Any) -> Act:
    """The act that keeps an alarm from sight.

    Raises:
        ActRefused: it does not stand, is of the first priority, or reason or time will not do.
    """
    found = next((a for a in line.live(now_ns).alarms if a.key == key), None)
    if found is None:
        raise ActRefused("This alarm does not stand any more.")
    if found.bars == 3:
        raise ActRefused(ONLY_ENGINEER)
    return acts.shelve(found.rule, found.subject, who, now_ns, minutes=minutes, reason=reason)
