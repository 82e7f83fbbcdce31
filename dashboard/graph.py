"""The one place that makes a graph component: none of them may offer to send data elsewhere."""

from __future__ import annotations

from typing import Any

from dash import dcc

CONFIG: dict[str, Any] = {
    "showSendToCloud": False,
    "displaylogo": False,
    "scrollZoom": False,
    "responsive": True,
    "modeBarButtonsToRemove": [
        "sendChartToCloud",
        "select2d",
        "lasso2d",
        "autoScale2d",
        "resetScale2d",
        "zoomIn2d",
        "zoomOut2d",
    ],
    "doubleClick": False,
}


def graph(id: str, *, bar: bool = False, **properties: Any) -> dcc.Graph:
    """A graph without any button that sends its data away.

    Args:
        bar: whether the bar of buttons (save the picture, zoom) is shown.
    """
    config: Any = {**CONFIG, "displayModeBar": bar}
    return dcc.Graph(id=id, config=config, **properties)
