"""The form that keeps an alarm from sight for some minutes."""

from __future__ import annotations

from dash import dcc, html

from dashboard.acts import LEAST_MINUTES, LONGEST_REASON, MOST_MINUTES
from dashboard.pages.aria import aria
from dashboard.pages.parts import UNTOUCHED


def form() -> html.Div:
    """The form, hidden until somebody presses Shelve."""
    return html.Div(
        html.Div(
            [
                html.H2("Shelve this alarm", id="shelve-title"),
                html.P(id="shelve-what"),
                html.P(f"It is kept from sight here for a while; {UNTOUCHED}.", className="untouched"),
                html.Label("Why", htmlFor="shelve-reason"),
                dcc.Input(id="shelve-reason", type="text", maxLength=LONGEST_REASON, autoComplete="off"),
                html.Label("For how many minutes", htmlFor="shelve-minutes"),
                dcc.Input(
                    id="shelve-minutes", type="number", min=LEAST_MINUTES, max=MOST_MINUTES, step=1, value=30
                ),
                html.P(id="shelve-refusal", className="refusal", role="alert"),
                html.Div(
                    [
                        html.Button("Shelve", id="shelve-do", n_clicks=0),
                        html.Button("Leave it", id="shelve-cancel", n_clicks=0, className="plain"),
                    ],
                    className="doing",
                ),
            ],
            className="form",
            role="dialog",
            **aria(labelledby="shelve-title", modal="true"),
        ),
        id="shelve-form",
        className="veil",
        hidden=True,
    )
