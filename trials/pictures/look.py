"""How drawings look: ink, lines, letters, and the way to SVG."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Final

import matplotlib
import matplotlib.dates
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, MaxNLocator

from trials.pictures.drawn import How

WIDTH_IN: Final = 6.85
INK: Final = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#000000")
"""Told apart by people with any kind of colour vision. Source: M. Okabe and K. Ito, Color Universal Design
(2002, revised 2008)."""
SIGNS: Final = ("o", "s", "^", "D", "v")
"""Beside the ink, since a page is printed in grey too."""
GREY: Final = "#8c8c8c"
PALE: Final = "#ececec"
_NS_A_DAY: Final = 86_400e9
_STYLE: Final[Any] = {
    "font.family": "DejaVu Sans",
    "font.size": 7.5,
    "axes.linewidth": 0.5,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.labelsize": 7.5,
    "xtick.major.width": 0.5,
    "ytick.major.width": 0.5,
    "xtick.major.size": 2.5,
    "ytick.major.size": 2.5,
    "xtick.labelsize": 7,
    "ytick.labelsize": 7,
    "text.parse_math": False,
    "svg.fonttype": "path",
    "svg.hashsalt": "report",
    "path.simplify": False,
    "axes.unicode_minus": True,
}


@contextmanager
def look() -> Iterator[None]:
    """Drawings that are made within look alike, whatever the computer's own settings say."""
    with matplotlib.rc_context():
        matplotlib.rcdefaults()
        matplotlib.rcParams.update(_STYLE)
        yield


def sheet(height_in: float) -> Figure:
    """An empty drawing of the page's width."""
    return Figure(figsize=(WIDTH_IN, height_in))


def svg_of(figure: Figure) -> bytes:
    """The drawing, without date or name of who made it."""
    out = io.BytesIO()
    canvas: Any = FigureCanvasSVG(figure)
    canvas.print_svg(out, metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    # Half of the file would be digits that no eye sees.
    return re.sub(rb'(?<= d=")[^"]+', lambda path: re.sub(rb"(\.\d\d)\d+", rb"\1", path[0]), out.getvalue())


def days(time_ns: Any) -> Any:
    """UTC nanoseconds as the days of the drawing's time axis."""
    return time_ns / _NS_A_DAY


def time_axis(axis: Any, start_ns: int, end_ns: int, how: How) -> None:
    """A time axis on the clock of the site; the day is written where there is more than one."""
    dates: Any = matplotlib.dates
    axis.set_xlim(days(start_ns), days(end_ns))
    locator = dates.AutoDateLocator(minticks=4, maxticks=9, tz=how.zone)
    axis.xaxis.set_major_locator(locator)
    long = end_ns - start_ns > 1.2 * _NS_A_DAY
    short = end_ns - start_ns < 240e9
    form = "%d.%m.\n%H:%M" if long else "%H:%M:%S" if short else "%H:%M"
    axis.xaxis.set_major_formatter(dates.DateFormatter(form, tz=how.zone))


def number_axis(axis: Any, how: How, *, most: int = 5) -> None:
    """Few round numbers, with the decimal sign of the language."""
    axis.set_major_locator(MaxNLocator(nbins=most, min_n_ticks=3))

    def text(value: float, _: Any) -> str:
        return f"{value:.6g}".replace("-", "−").replace(".", how.comma)

    axis.set_major_formatter(FuncFormatter(text))


def nothing(axis: Any, how: How) -> None:
    """Says that there is nothing to be seen."""
    axis.text(0.5, 0.5, how.nothing, transform=axis.transAxes, ha="center", va="center", color=GREY)
    axis.set_yticks([])
