"""Which window of time the trial page shows: from its address, a click, a zoom."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import Any
from urllib.parse import parse_qs

from dashboard.words import zone_of
from historian.errors import WrongInput
from historian.frame import NS

LEAST_NS = 10 * NS
MOST_NS = 370 * 24 * 3600 * NS
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)

Window = tuple[int, int]


def from_address(search: str | None, zone: str) -> Window | None:
    """The window that an address asks for; None when it asks for none.

    Times are ISO 8601; one without an offset is the site's.

    Raises:
        WrongInput: times that cannot be read, or an end that is not after the start.
    """
    asked = parse_qs((search or "").lstrip("?"))
    texts = [asked.get(name, [""])[0] for name in ("from", "to")]
    if not any(texts):
        return None
    if not all(texts):
        raise WrongInput(
            "an address that asks for a window needs both: ?from=2026-05-04T08:00&to=2026-05-04T12:00"
        )
    start_ns, end_ns = (_read(text, zone) for text in texts)
    return checked((start_ns, end_ns))


def _read(text: str, zone: str) -> int:
    # A plus sign in an address is a blank once it is read.
    try:
        moment = datetime.fromisoformat(text.strip().replace(" ", "+"))
    except ValueError as error:
        raise WrongInput(f"'{text[:40]}' is no time: write it as 2026-05-04T08:00:00") from error
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=zone_of(zone))
    since = moment - _EPOCH
    return (since.days * 86_400 + since.seconds) * NS + since.microseconds * 1000


def checked(window: Window) -> Window:
    """The window, when it is one.

    Raises:
        WrongInput: its end is not at least ten seconds after its start, or it is longer than a year.
    """
    start_ns, end_ns = window
    if not LEAST_NS <= end_ns - start_ns <= MOST_NS or start_ns < 0:
        raise WrongInput("a window lasts from ten seconds to a year, and its end comes after its start")
    return window


def address(window: Window) -> str:
    """The search part of the address of a window, in UTC to the second."""
    start, end = ((_EPOCH + timedelta(seconds=ns // NS)).strftime("%Y-%m-%dT%H:%M:%SZ") for ns in window)
    return f"?from={start}&to={end}"


def from_zoom(relayout: Mapping[str, Any] | None, offset_ms: int) -> Window | None:
    """The window that a person drew or dragged in the picture; None for other changes of it.

    Args:
        offset_ms: what the picture's axis is ahead of UTC.
    """
    if not relayout:
        return None
    pair = relayout.get("xaxis.range")
    ends = (
        list(pair) if isinstance(pair, list | tuple) else [relayout.get(f"xaxis.range[{i}]") for i in (0, 1)]
    )
    if len(ends) != 2 or any(end is None for end in ends):
        return None
    try:
        start_ns, end_ns = (_axis_ns(end) - offset_ms * 1_000_000 for end in ends)
        return checked((start_ns, end_ns))
    except (ValueError, WrongInput):
        return None


def _axis_ns(end: Any) -> int:
    """An end of the axis: the library gives milliseconds or a date without a zone."""
    if isinstance(end, int | float):
        return int(end * 1000) * 1000
    since = datetime.fromisoformat(str(end)).replace(tzinfo=UTC) - _EPOCH
    return (since.days * 86_400 + since.seconds) * NS + since.microseconds * 1000


def moved(window: Window, how: str, whole: Window) -> Window:
    """The window after a button: earlier, later, closer, wider, whole.

    Example:
        >>> moved((100 * NS, 200 * NS), "later", (0, 0)) == (150 * NS, 250 * NS)
        True
    """
    start_ns, end_ns = window
    span = end_ns - start_ns
    if how == "whole":
        return whole
    if how in ("earlier", "later"):
        step = span // 2 if how == "later" else -(span // 2)
        return max(0, start_ns + step), max(span, end_ns + step)
    change = span // 4 if how == "closer" else -(span // 2)
    new = (max(0, start_ns + change), end_ns - change)
    return new if LEAST_NS <= new[1] - new[0] <= MOST_NS else window
