"""The review as JSON types: times are UTC nanoseconds, durations seconds; what cannot be told is null."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from rules.entry import plain
from rules.review.figures import OriginFigures
from rules.review.floods import Flood
from rules.review.proposal import Proposal
from rules.review.review import Review
from rules.review.telling import where_to_set


def to_json(review: Review) -> dict[str, Any]:
    """Everything that the review holds."""
    made: dict[str, Any] = plain(
        {
            "start_ns": review.window.start_ns,
            "end_ns": review.window.end_ns,
            "recorded_s": review.recorded_s,
            "above": review.is_above,
            "warnings": review.warnings,
            "origins": [_origin(o) for o in review.origins],
            "proposals": [_proposal(p) for p in review.proposals],
        }
    )
    return made


def _origin(of: OriginFigures) -> dict[str, Any]:
    return {
        "origin": of.origin,
        "alarms": of.alarms,
        "figures": [
            {"key": f.key, "value": f.value, "judgement": f.judgement, "why": f.why, **asdict(f.published)}
            for f in of.figures
        ],
        "most_in_hour": of.most_in_hour,
        "most_in_day": of.most_in_day,
        "most_in_any_10_min": of.most_sliding,
        "floods": _floods(of.floods, of.upset_words),
        "sliding_floods": _floods(of.sliding_floods),
        "sliding_flood_percent": of.sliding_flood_percent,
        "steady": of.steady_words or None,
        "grades": of.grades,
        "most_frequent": [
            {**f.history.name._asdict(), "label": f.history.label, "count": f.count, "percent": f.share}
            for f in of.frequent
        ],
        "chattering": of.chattering,
        "chattering_alarms": of.chattering_alarms,
        "fleeting": of.fleeting,
        "acknowledged": asdict(of.acknowledged),
        "returned": asdict(of.returned),
        "hidden": {way: asdict(h) for way, h in of.hidden.items()},
    }


def _floods(floods: Sequence[Flood], words: Sequence[str] = ()) -> list[dict[str, Any]]:
    said = [{"after_upset": w} for w in words] or [{} for _ in floods]
    return [{**asdict(f), **w} for f, w in zip(floods, said, strict=True)]


def _proposal(p: Proposal) -> dict[str, Any]:
    return {
        **p.name._asdict(),
        "label": p.label,
        "nuisance": asdict(p.nuisance),
        "delays": asdict(p.delays),
        "backtest": asdict(p.test),
        "on_delay_parameter": p.on_parameter,
        "off_delay_parameter": p.off_parameter,
        "dead_band": None if p.band is None else asdict(p.band),
        "where": where_to_set(p),
    }
