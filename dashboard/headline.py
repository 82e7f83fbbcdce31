"""The sentence at the top of the live page: what a foreman would say, made from the data.

It states and explains. It never tells anybody to run a machine, and never says or implies that one is
pressure-free, cold or safe to open.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from dashboard.cleaning_watch import INLET, OUTLET, WARN_SHARE, Due
from dashboard.now import Now
from dashboard.seven import FEED, NOT_PROOF, NOT_PROOF_BAR, SPEED
from dashboard.views import AlarmView, SourceView, Trust
from dashboard.words import clock_text, duration_text, joined, number_text, quantity_text
from historian.frame import NS
from process.screen import Forecast
from rules.line import LineFacts

RUNNING_SHARE = 0.2
"""Below this share of the planned feed the line counts as idle. common practice, no source."""


@dataclass(frozen=True, slots=True)
class PhaseNow:
    """The phase that the line is in, since when (source time)."""

    name: str
    since_ns: int


def headline(
    now: Now,
    facts: LineFacts,
    phase: PhaseNow | None,
    alarms: Sequence[AlarmView],
    sources: Sequence[SourceView],
) -> str:
    """State and what stands out; changes only when the state does, or with the minute."""
    if not now.newest_arrival_ns:
        waits = [s.sentence for s in sources if not s.delivers]
        return " ".join(
            ["No data has arrived yet, so the line's state is not known.", *_as_sentences(waits[:2])]
        )
    if not now.flowing:
        clock = clock_text(now.newest_arrival_ns, now.zone, now_ns=now.now_ns)
        return f"No data since {clock}: the line's state is not known now. The machine's own panel tells it."
    return " ".join(
        s for s in (*_gravest(alarms), *_state(now, facts, phase), *_shelved(alarms), *_lost(sources)) if s
    )


def outlook(due: Due | None, forecast: Forecast | None, wiping_s: float | None) -> str:
    """What comes next, with its times."""
    parts: list[str] = []
    if wiping_s is not None:
        parts.append(f"The wiper has been cleaning the screen for {duration_text(wiping_s)}.")
    elif due is not None:
        by = ", by the clock" if due.because == "clock" else ""
        parts.append(f"Next cleaning in about {duration_text(_coarse(due.after_s))}{by}.")
    if forecast is not None:
        share = f"{WARN_SHARE:.0%}".replace("%", " %")
        parts.append(
            f"The pressure left after cleaning reaches {share} of the trigger in about "
            f"{duration_text(forecast.after_s)} "
            f"({_between(forecast)})."
            if forecast.after_s > 0
            else f"The pressure left after cleaning is above {share} of the trigger."
        )
    return " ".join(parts)


def _coarse(seconds: float) -> float:
    """To the next ten seconds: a sentence is not a stop-watch."""
    return max(10.0, round(seconds / 10) * 10.0)


def _between(forecast: Forecast) -> str:
    """The forecast's bounds, in one unit where both are minutes."""
    bounds = [round(s / 60) for s in (forecast.earliest_s, forecast.latest_s)]
    if max(bounds) < 100:
        return f"{bounds[0]}–{bounds[1]}"
    return f"{duration_text(forecast.earliest_s)} to {duration_text(forecast.latest_s)}"


def _as_sentences(texts: Sequence[str]) -> Iterator[str]:
    for text in texts:
        yield text[:1].upper() + text[1:] + ("" if text.endswith(".") else ".")


def _gravest(alarms: Sequence[AlarmView]) -> Iterator[str]:
    """The gravest condition that holds now; how many more there are."""
    holding = [a for a in alarms if not a.shelved and not a.returned and a.bars >= 2]
    if not holding:
        return
    worst = max(holding, key=lambda a: (a.bars, not a.seen))
    yield worst.sentence
    if len(holding) > 1:
        count = len(holding) - 1
        yield f"{count} more {'needs' if count == 1 else 'need'} a person: see below."


def _state(now: Now, facts: LineFacts, phase: PhaseNow | None) -> Iterator[str]:
    feed = now.of(FEED)
    if feed.trust is Trust.LOST:
        yield "The feed is not known now."
    elif phase is not None:
        since = duration_text((now.source_time_ns - phase.since_ns) / NS)
        at = f" at {quantity_text(feed.value, 'kg/h')}" if feed.known and _runs(feed.value, facts) else ""
        yield f"{phase.name[:1].upper()}{phase.name[1:]} for {since}{at}."
    elif feed.known and _runs(feed.value, facts):
        yield f"Running at {quantity_text(feed.value, 'kg/h')}."
    elif feed.known:
        speed = now.of(SPEED)
        turns = "the screw stands" if speed.known and speed.value < 1 else ""
        turns = turns or (
            f"the screw turns at {number_text(speed.value, '/min')} 1/min" if speed.known else ""
        )
        yield f"Feed {quantity_text(feed.value, 'kg/h')}" + (f"; {turns}." if turns else ".")
    yield from _near_zero(now)


def _runs(feed_kg_h: float, facts: LineFacts) -> bool:
    return feed_kg_h > RUNNING_SHARE * facts.planned_kg_h if facts.planned_kg_h else feed_kg_h > 50.0


def _near_zero(now: Now) -> Iterator[str]:
    """A pressure that reads nearly nothing proves nothing, and says so."""
    for path, place in ((INLET, "before"), (OUTLET, "after")):
        seen = now.of(path)
        if seen.known and seen.value < NOT_PROOF_BAR:
            reads = number_text(round(seen.value), "%")
            yield f"Melt pressure {place} the screen reads {reads} bar: {NOT_PROOF}."
            return


def _shelved(alarms: Sequence[AlarmView]) -> Iterator[str]:
    named = [f"{a.place} ({a.shelved})" for a in alarms if a.shelved and a.bars == 3]
    if named:
        yield f"Kept from sight for now: {joined(named)}."


def _lost(sources: Sequence[SourceView]) -> Iterator[str]:
    lost = [s.name for s in sources if not s.delivers]
    if lost:
        yield f"No data from {joined(lost)}."
