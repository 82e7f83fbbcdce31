"""The sheet that a ledger is drawn on: bands from top to bottom over one time axis."""

from __future__ import annotations

from typing import Any

from dashboard.figures import Figure, frame
from dashboard.palette import Palette
from dashboard.views import Ledger

LEFT, RIGHT, TOP, BOTTOM = 168, 128, 40, 56
SPACE = 8

_TICKS = [
    {"dtickrange": [None, 60_000], "value": "%H:%M:%S"},
    {"dtickrange": [60_000, 86_400_000], "value": "%H:%M\n%d %b"},
    {"dtickrange": [86_400_000, None], "value": "%d %b\n%Y"},
]


class Sheet:
    """The picture while it is put together: heights in pixels from the top, axes and traces as they come."""

    def __init__(self, ledger: Ledger, colours: Palette) -> None:
        self.ledger, self.colours = ledger, colours
        self.traces: list[dict[str, Any]] = []
        self.annotations: list[dict[str, Any]] = []
        self.shapes: list[dict[str, Any]] = []
        self.axes: dict[str, dict[str, Any]] = {}
        self.domains: list[tuple[int, int, dict[str, Any]]] = []
        self.height = 0
        self.start_ms = ledger.start_ns / 1e6 + ledger.offset_ms
        self.span_ms = max(1.0, (ledger.end_ns - ledger.start_ns) / 1e6)

    def axis(self, height: int, title: str, settings: dict[str, Any]) -> str:
        """A new band of the picture with its own upright axis; gives the axis' name for traces."""
        number = len(self.domains) + 1
        name = "y" if number == 1 else f"y{number}"
        self.domains.append((self.height, self.height + height, settings))
        self.axes["yaxis" + name[1:]] = settings
        self.annotations.append(
            {
                "xref": "paper",
                "x": 0,
                "xshift": -LEFT + 4,
                "xanchor": "left",
                "yref": f"{name} domain",
                "y": 1,
                "yanchor": "top",
                "showarrow": False,
                "align": "left",
                "text": title,
                "font": {"color": self.colours.ink},
            }
        )
        self.height += height + SPACE
        # An axis that no trace uses is left out by the library, and its words would land elsewhere.
        self.traces.append(
            {
                "type": "scatter",
                "mode": "markers",
                "x": [self.start_ms],
                "y": [settings["range"][0]],
                "yaxis": name,
                "marker": {"opacity": 0},
                "hoverinfo": "skip",
            }
        )
        return name

    def rule(self, name: str) -> None:
        """A thin line across the sheet above a band."""
        self.shapes.append(
            {
                "type": "line",
                "xref": "paper",
                "x0": 0,
                "x1": 1,
                "yref": f"{name} domain",
                "y0": 1,
                "y1": 1,
                "line": {"color": self.colours.line, "width": 1},
                "layer": "below",
            }
        )

    def _band(self) -> list[dict[str, Any]]:
        """The word that a simulated line's picture bears, also when it is saved."""
        if not self.ledger.simulated:
            return []
        text = {"text": "S I M U L A T E D", "showarrow": False, "font": {"color": self.colours.quiet}}
        place = {"xref": "paper", "x": 0, "xanchor": "left", "yref": "paper", "y": 1, "yanchor": "bottom"}
        return [{**text, **place, "yshift": 8}]

    def done(self) -> Figure:
        """Domains as shares of the height, and the shared time axis."""
        for top, bottom, settings in self.domains:
            settings["domain"] = [1 - bottom / self.height, 1 - top / self.height]
        last = "y" if len(self.domains) == 1 else f"y{len(self.domains)}"
        return {
            "data": self.traces,
            "layout": {
                **frame(self.colours),
                **self.axes,
                "height": self.height + TOP + BOTTOM,
                "margin": {"l": LEFT, "r": RIGHT, "t": TOP, "b": BOTTOM},
                "barmode": "overlay",
                "hovermode": "closest",
                "hoverdistance": 30,
                "dragmode": "zoom",
                "uirevision": f"{self.ledger.offset_ms}",
                "annotations": [*self.annotations, *self._band()],
                "shapes": self.shapes,
                "title": {"text": ""},
                "xaxis": {
                    "type": "date",
                    "range": [self.start_ms, self.start_ms + self.span_ms],
                    "anchor": last,
                    "title": {"text": self.ledger.axis, "standoff": 8},
                    "gridcolor": self.colours.line,
                    "linecolor": self.colours.ink,
                    "zeroline": False,
                    "showspikes": True,
                    "spikemode": "across",
                    "spikesnap": "cursor",
                    "spikethickness": 1,
                    "spikedash": "solid",
                    "spikecolor": self.colours.quiet,
                    "tickformatstops": _TICKS,
                    "hoverformat": "%d %b %H:%M:%S",
                },
            },
        }
