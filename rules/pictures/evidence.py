"""The signals of a finding as a small picture: what the rule looked at, with a little before and after."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

import matplotlib
import matplotlib.dates
import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from numpy.typing import NDArray

from historian.units import shown_unit

WIDTH_IN: Final = 5.6
ROW_IN: Final = 1.55
DPI: Final = 110
CURVES: Final = 5
"""More curves in one picture tell nothing on a phone."""

_INK: Final = ("#1a1a1a", "#0b6e99", "#b3541e", "#5b7d2e", "#7a4f9a")
_DASHES: Final = ("-", "--", "-.", ":", (0, (5, 1)))
"""Dashes as well as ink: a picture is read by those who see no colours, and printed."""

_DAY_NS: Final = 86_400_000_000_000
_1970: Final = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Trace:
    """One signal.

    Attributes:
        label: as it is written in the picture.
        unit: UCUM code; signals of one unit share an axis.
        time_ns: UTC nanoseconds, rising, shape (n,).
        value: in the unit, NaN where nothing is known, shape (n,).
        step: whether it holds until the next one.
    """

    label: str
    unit: str
    time_ns: NDArray[np.int64]
    value: NDArray[np.float64]
    step: bool = False


def evidence_png(
    traces: Sequence[Trace], shown_ns: tuple[int, int], looked_ns: tuple[int, int], zone: ZoneInfo
) -> bytes:
    """The picture as PNG, the same bytes for the same samples.

    Args:
        shown_ns: start and end of the picture.
        looked_ns: the window at which the rule looked; it is shaded.
        zone: of the time axis.
    """
    some = list(traces)[:CURVES]
    units = list(dict.fromkeys(t.unit for t in some)) or ["1"]
    with matplotlib.rc_context({"font.size": 10, "axes.linewidth": 0.6, "text.parse_math": False}):
        figure = Figure(figsize=(WIDTH_IN, 0.35 + ROW_IN * len(units)), dpi=DPI, layout="constrained")
        rows: Any = figure.subplots(len(units), 1, sharex=True, squeeze=False)
        for (axis,), unit in zip(rows, units, strict=True):
            of_unit = [(n, t) for n, t in enumerate(some) if t.unit == unit]
            _row(axis, of_unit, unit, looked_ns)
        last = rows[-1][0]
        last.set_xlim(_when(shown_ns[0], zone), _when(shown_ns[1], zone))
        dates: Any = matplotlib.dates
        locator = dates.AutoDateLocator(minticks=3, maxticks=6, tz=zone)
        last.xaxis.set_major_locator(locator)
        form = "%d.%m. %H:%M" if shown_ns[1] - shown_ns[0] > _DAY_NS else "%H:%M"
        last.xaxis.set_major_formatter(dates.DateFormatter(form, tz=zone))
        out = io.BytesIO()
        canvas: Any = FigureCanvasAgg(figure)
        canvas.print_png(out, metadata={"Software": None})
    return out.getvalue()


def _row(axis: Any, traces: Sequence[tuple[int, Trace]], unit: str, looked_ns: tuple[int, int]) -> None:
    axis.axvspan(_when(looked_ns[0]), _when(looked_ns[1]), color="#e8e4d4", zorder=0)
    for n, trace in traces:
        axis.plot(
            [_when(int(t)) for t in trace.time_ns],
            trace.value,
            color=_INK[n],
            linestyle=_DASHES[n],
            linewidth=1.1,
            drawstyle="steps-post" if trace.step else "default",
            label=trace.label,
        )
    if not any(np.isfinite(t.value).any() for _, t in traces):
        axis.text(0.5, 0.5, "no data in this window", transform=axis.transAxes, ha="center", va="center")
    axis.set_ylabel(shown_unit(unit) if unit != "1" else "")
    axis.grid(linewidth=0.3, color="#cccccc")
    axis.margins(y=0.12)
    if traces:
        axis.legend(loc="best", fontsize=9, frameon=True, framealpha=0.85, borderpad=0.3)


def _when(time_ns: int, zone: ZoneInfo | None = None) -> datetime:
    moment = _1970 + timedelta(microseconds=int(time_ns) // 1000)
    return moment if zone is None else moment.astimezone(zone)
