"""How a source and the recorder do, in a few words, from the health that the recorder keeps of them."""

from __future__ import annotations

from dashboard.now import Now
from dashboard.words import duration_text
from historian.frame import NS

KEPT_NS = 30 * NS
"""Health is kept every ten seconds; older than this it says nothing of now."""

CLOCK_MATTERS_S = 1.0
"""A clock that is surely off by more is told."""

LITTLE_ROOM = 10.0
"""Percent of the disk; below it the room is told."""

STORED_S = 5.0
"""Samples go to the disk twice a second; nothing for so long is told."""


def source_health(now: Now, name: str) -> str:
    """How a source does beyond delivering: how much, how late, its clock, its gaps; empty when not known."""
    at = f"edge.source.{name.replace('-', '_')}"

    def figure(what: str) -> float | None:
        return _figure(now, f"{at}.{what}")

    said = [_rate(figure("rate.calc"))]
    wrong = figure("clock.wrong.state") == 1.0
    clock = _clock(figure("clock.offset.calc"), figure("clock.uncertainty.calc"), wrong=wrong)
    said.append(clock or _lag(figure("lag.calc"), figure("lag.worst.calc")))
    said.append(_gaps(figure("gaps.total"), figure("gaps.time.total")))
    for what, words in (
        ("missed.total", "messages missed"),
        ("overflows.total", "times its queue ran over"),
        ("rejected.total", "values not readable"),
    ):
        count = figure(what)
        said.append(f"{count:.0f} {words}" if count else "")
    return ", ".join(part for part in said if part)


def recorder_health(now: Now) -> str:
    """What a person should know of the disk and of this computer's clock; empty when all is well."""
    said = []
    if _figure(now, "edge.clock.wrong.state") == 1.0:
        said.append("this computer's clock is wrong; the journal says how")
    age_s, waiting = _figure(now, "edge.store.commit.age.calc"), _figure(now, "edge.store.backlog.calc")
    if age_s is not None and age_s > STORED_S:
        said.append(f"nothing put on disk for {duration_text(age_s)}, {waiting or 0:.0f} values wait")
    room = _figure(now, "edge.store.disk.free.calc")
    if room is not None and room < LITTLE_ROOM:
        said.append(f"only {room:.0f} % of the disk free")
    return ", ".join(said)


def _figure(now: Now, path: str) -> float | None:
    sample = now.latest.get(path)
    if sample is None or now.now_ns - sample.arrival_ns > KEPT_NS:
        return None
    return sample.value


def _rate(rate_per_s: float | None) -> str:
    if rate_per_s is None:
        return ""
    if rate_per_s == 0:
        return "no new values for a minute"
    return f"{rate_per_s:.0f} values a second" if rate_per_s >= 9.5 else f"{rate_per_s:.1f} values a second"


def _lag(lag_s: float | None, worst_s: float | None) -> str:
    """How long the newest value was on its way; the latest of the minute where it was much later."""
    if lag_s is None:
        return ""
    late = f" (up to {_short(worst_s)} in the last minute)" if worst_s and worst_s > 2 * lag_s + 2 else ""
    return f"{_short(max(0.0, lag_s))} behind{late}"


def _clock(ahead_s: float | None, uncertainty_s: float | None, *, wrong: bool) -> str:
    """A clock that is surely off. One that seems behind may only send late, unless it is known wrong."""
    if ahead_s is None or uncertainty_s is None or abs(ahead_s) - uncertainty_s < CLOCK_MATTERS_S:
        return ""
    if ahead_s < 0 and not wrong:
        return f"{_short(-ahead_s)} behind, on the way or by its clock"
    side = "ahead of" if ahead_s > 0 else "behind"
    return f"its clock {_short(abs(ahead_s))} {side} this computer's (± {_short(uncertainty_s)})"


def _gaps(gaps: float | None, gap_s: float | None) -> str:
    if not gaps:
        return ""
    times = "once" if gaps == 1 else f"{gaps:.0f} times"
    return f"lost {times} since the start" + (f", {duration_text(gap_s)} in all" if gap_s else "")


def _short(seconds: float) -> str:
    return f"{seconds:.1f} s" if seconds < 10 else duration_text(seconds)
