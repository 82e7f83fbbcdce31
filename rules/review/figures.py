"""All figures of a review for one origin of alarms, or for all of them together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import tzinfo
from typing import Final

from rules.review.durations import Durations, Hidden, hidden, to_acknowledge, to_return
from rules.review.floods import STANDARD, Flood, FloodRule, floods_by_clock, floods_sliding
from rules.review.frequent import Frequent, grades, most_frequent
from rules.review.history import HIDINGS, AlarmHistory, times_of
from rules.review.judgement import Figure, judged
from rules.review.nuisance import most_stale_on_a_day, most_standing, nuisance_of
from rules.review.published import AFTER_UPSET, STEADY, words_on
from rules.review.rates import HOUR_NS, TEN_MIN_NS, by_clock, clock_edges, days, recorded_s, sliding_count
from rules.review.spells import Spell, Window, total_s, within

_DAY_S: Final = 86_400.0
_LEAST_FOR_TEN: Final = 200
"""Below so many alarms ten of them make more than 5 %, however evenly they come: 10 / 0.05."""


@dataclass(frozen=True, slots=True)
class OriginFigures:
    """The figures of one origin.

    Attributes:
        origin: whose alarms; see ``review.TOGETHER``.
        alarms: how many were announced.
        figures: beside the published ones, in the order of ``PUBLISHED``.
        most_in_hour, most_in_day: highest counts by the clock.
        most_sliding: highest count in any ten minutes.
        floods: by the clock; sliding_floods: at every instant.
        steady_words: what EEMUA 191 calls the rate outside of floods; empty where there was no such time.
        upset_words: the same of the first ten minutes of each flood by the clock.
        grades: announcements by priority, or by class of the machine's severity.
        frequent: the ten most frequent alarms.
        chattering, fleeting: activations that were either, and ``chattering_alarms``: how many alarms did.
        acknowledged, returned: how long it took.
        hidden: way → how long alarms were kept from sight.
    """

    origin: str
    alarms: int
    figures: Sequence[Figure]
    most_in_hour: int
    most_in_day: int
    most_sliding: int
    floods: Sequence[Flood]
    sliding_floods: Sequence[Flood]
    sliding_flood_percent: float
    steady_words: str
    upset_words: Sequence[str]
    grades: Mapping[str, int]
    frequent: Sequence[Frequent]
    chattering: int
    chattering_alarms: int
    fleeting: int
    acknowledged: Durations
    returned: Durations
    hidden: Mapping[str, Hidden]


def figures_of(
    origin: str,
    some: Sequence[AlarmHistory],
    window: Window,
    zone: tzinfo,
    recorded: Sequence[Spell],
    flood_rule: FloodRule = STANDARD,
) -> OriginFigures:
    """The figures of these alarms within the window.

    Args:
        zone: the site's, for the windows of the clock.
        recorded: when alarms could be raised, apart from one another.
    """
    times = times_of(some, window)
    known_s = recorded_s(recorded, window)
    span_days = known_s / _DAY_S
    tens = by_clock(times, clock_edges(window, zone, TEN_MIN_NS), recorded)
    hours = by_clock(times, clock_edges(window, zone, HOUR_NS), recorded)
    midnights = days(window, zone)
    floods = floods_by_clock(
        times, by_clock(times, clock_edges(window, zone, flood_rule.length_ns), recorded), flood_rule
    )
    sliding = floods_sliding(times, flood_rule)
    frequent = most_frequent(some, window)
    nuisances = [nuisance_of(h, window) for h in some]
    chattering, fleeting = sum(n.chattering for n in nuisances), sum(n.fleeting for n in nuisances)
    n = len(times)

    def rate(per_s: float) -> float:
        return n / known_s * per_s if known_s >= per_s else float("nan")

    def share(spells: Sequence[Spell]) -> float:
        return 100 * total_s(spells, window) / known_s if known_s else float("nan")

    flooded = within([f.spell for f in floods], window)
    figures = [
        judged("per day", rate(_DAY_S), span_days, lacks=_shorter(known_s, _DAY_S, "a day")),
        judged("per hour", rate(3600), span_days, lacks=_shorter(known_s, 3600, "an hour")),
        judged("per 10 min", rate(600), span_days, lacks=_shorter(known_s, 600, "ten minutes")),
        judged("hours above 30", hours.share_above(30), span_days),
        judged("10 min above 10", tens.share_above(10), span_days),
        judged("most in 10 min", tens.most, span_days),
        judged("time in flood", share(flooded), span_days),
        judged(
            "ten most frequent",
            sum(f.share for f in frequent) if n else float("nan"),
            span_days,
            lacks=_few(n),
        ),
        judged("chattering or fleeting", chattering + fleeting, span_days),
        judged("stale", most_stale_on_a_day(some, window, midnights), span_days),
        judged("standing", most_standing(some, window), span_days),
    ]
    steady_s = known_s - total_s(flooded, window)
    steady = (n - sum(f.alarms for f in floods)) / steady_s * 60 if steady_s > 0 else float("nan")
    return OriginFigures(
        origin,
        n,
        figures,
        hours.most,
        by_clock(times, midnights, recorded).most,
        int(sliding_count(times, TEN_MIN_NS).max(initial=0)),
        floods,
        sliding,
        share([f.spell for f in sliding]),
        words_on(STEADY, steady) if steady_s >= 600 else "",
        [words_on(AFTER_UPSET, f.in_first_window) for f in floods],
        grades(some, window),
        frequent,
        chattering,
        sum(1 for one in nuisances if one.chattering),
        fleeting,
        to_acknowledge(some, window),
        to_return(some, window),
        {way: hidden(some, way, window) for way in HIDINGS},
    )


def _shorter(known_s: float, least_s: float, name: str) -> str:
    return f"less than {name} of record" if known_s < least_s else ""


def _few(alarms: int) -> str:
    if alarms >= _LEAST_FOR_TEN:
        return ""
    return f"of fewer than {_LEAST_FOR_TEN} alarms ten make more than 5 % however they come"
