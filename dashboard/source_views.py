"""How each source does: what it last said of itself, and whether it still delivers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from dashboard.now import SOURCE_SILENT_NS, Now
from dashboard.views import SourceView
from dashboard.words import clock_text, duration_text
from historian.frame import NS
from rules.entry import Entry

DELIVERS = "connected"
_STATES = ("waiting", DELIVERS, "lost", "refused")


def source_views(now: Now, events: Sequence[Entry]) -> tuple[SourceView, ...]:
    """Every source of the line by name.

    Args:
        events: the journal's newest events, oldest first.
    """
    said = _last_words(events)
    names = {t.source for t in now.tags.values() if t.source} | set(said)
    return tuple(_view(name, now, said.get(name)) for name in sorted(names))


def _last_words(events: Sequence[Entry]) -> Mapping[str, tuple[str, str]]:
    """Source name → its last state and sentence."""
    said: dict[str, tuple[str, str]] = {}
    for entry in events:
        status = entry.data.get("data")
        if isinstance(status, Mapping) and status.get("state") in _STATES and status.get("name"):
            text = str(status.get("text") or entry.data.get("text") or "")
            said[str(status["name"])] = (str(status["state"]), text)
    return said


def _view(name: str, now: Now, said: tuple[str, str] | None) -> SourceView:
    state, text = said or ("", "")
    heard_ns = now.heard_ns.get(name, 0)
    delivers = heard_ns > 0 and now.now_ns - heard_ns <= SOURCE_SILENT_NS
    if delivers:
        return SourceView(name, True, f"{name}: delivers")
    since = (
        f"no data since {clock_text(heard_ns, now.zone, now_ns=now.now_ns)}" if heard_ns else "no data yet"
    )
    if heard_ns:
        since += f" ({duration_text((now.now_ns - heard_ns) / NS)})"
    told = f". {text}" if text and state != DELIVERS else ""
    return SourceView(name, False, f"{name}: {since}{told}")
