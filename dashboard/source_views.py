"""How each source does: what it last said of itself, and whether it still delivers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from dashboard.now import EDGE, SOURCE_SILENT_NS, Now
from dashboard.source_health import recorder_health, source_health
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
    return tuple(_view(name, now, said.get(name, _Said())) for name in sorted(names))


@dataclass(frozen=True, slots=True)
class _Said:
    """What a source last said of itself: its state, a sentence, and the tags that it cannot deliver."""

    state: str = ""
    text: str = ""
    missing: tuple[str, ...] = ()


def _last_words(events: Sequence[Entry]) -> Mapping[str, _Said]:
    """What each source last said, by its name."""
    said: dict[str, _Said] = {}
    for entry in events:
        status = entry.data.get("data")
        if isinstance(status, Mapping) and status.get("state") in _STATES and status.get("name"):
            text = str(status.get("text") or entry.data.get("text") or "")
            missing = tuple(str(path) for path in status.get("unknown") or ())
            said[str(status["name"])] = _Said(str(status["state"]), text, missing)
    return said


def _view(name: str, now: Now, said: _Said) -> SourceView:
    heard_ns = now.heard_ns.get(name, 0)
    delivers = heard_ns > 0 and now.now_ns - heard_ns <= SOURCE_SILENT_NS
    shown = "recorder" if name == EDGE else name
    health = recorder_health(now) if name == EDGE else source_health(now, name)
    if delivers:
        does = "runs" if name == EDGE else "delivers"
        return SourceView(name, True, f"{shown}: {does}{_lacking(said)}", health)
    since = (
        f"no data since {clock_text(heard_ns, now.zone, now_ns=now.now_ns)}" if heard_ns else "no data yet"
    )
    if heard_ns:
        since += f" ({duration_text((now.now_ns - heard_ns) / NS)})"
    told = f". {said.text}" if said.text and said.state != DELIVERS else ""
    return SourceView(name, False, f"{shown}: {since}{told}", health)


def _lacking(said: _Said) -> str:
    """The tags that a source which delivers cannot deliver, the first three by name."""
    if not said.missing:
        return ""
    named = ", ".join(said.missing[:3]) + (" …" if len(said.missing) > 3 else "")
    return f", but not {len(said.missing)} of its tags ({named}); the journal says why"
