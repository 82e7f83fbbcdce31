"""What to change at an alarm that annoys: delays from its spells, a dead band from its signals' noise.

A proposal says what would have been in the very time that it was made from; another week may differ.
Whoever owns the alarm decides, by the site's way of changing alarms; nothing here sets anything.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from math import isfinite
from typing import Final

import numpy as np

from historian.frame import Series
from historian.tags import Tag, TagKind
from rules.review.delays import Backtest, Delays, backtest, delayed
from rules.review.history import OURS, AlarmHistory, AlarmName
from rules.review.noise import AROUND_NS, MOST_ACTIVATIONS, Noise, dead_band, noise_near
from rules.review.nuisance import Nuisance, nuisance_of
from rules.review.spells import Spell, Window
from rules.table.rule import Rule

LADDER_S: Final = (2.0, 5.0, 10.0, 15.0, 20.0, 30.0, 45.0, 60.0, 90.0, 120.0, 180.0, 300.0)
"""The delays that are tried, seconds: derived here."""
_LONGEST_ON_S: Final = 60.0
"""Longest on-delay of an alarm whose time to respond is not known: derived here."""
_SHARE_OF_RESPONSE: Final = 0.1
"""Longest on-delay as a share of the time to respond: derived here."""
_ENOUGH: Final = 0.9
"""A delay is long enough when it brings this share of what the longest would: derived here."""
_WORTH: Final = 0.2
"""A delay is proposed when it takes away this share of the alarms or more: derived here."""
LEAST_SPELLS: Final = 6
"""Nothing is proposed from fewer spells: derived here."""

ReadSeries = Callable[[Sequence[str], int, int], Mapping[str, Series]]
"""Gives the samples of tags with start ≤ time < end; a tag that is not there is left out."""


@dataclass(frozen=True, slots=True)
class DeadBand:
    """A dead band from noise.

    Attributes:
        value, unit: the band.
        noises: path → its noise near the activations.
        now: what is set; None where the rule has no dead band.
        parameter: which of the rule's parameters it is; None where it has none.
    """

    value: float
    unit: str
    noises: Mapping[str, Noise]
    now: float | None = None
    parameter: str | None = None


@dataclass(frozen=True, slots=True)
class Proposal:
    """What to change at one alarm.

    Attributes:
        name, label: the alarm.
        nuisance: how it annoyed.
        delays: beyond what is set already; zero where no delay helps.
        test: what they would have made of the window.
        on_parameter, off_parameter: which of the rule's parameters these are; None where it has none.
        band: None where no signal with the set point's unit is known.
    """

    name: AlarmName
    label: str
    nuisance: Nuisance
    delays: Delays
    test: Backtest
    on_parameter: str | None = None
    off_parameter: str | None = None
    band: DeadBand | None = None


@dataclass(frozen=True, slots=True)
class Known:
    """What a proposal may look at beside the histories.

    Attributes:
        rules: what is written about our rules.
        numbers: rule → its numbers on this line.
        tags: the line's tags by path.
        read: gives samples; None where there is no store.
    """

    rules: Mapping[str, Rule] = field(default_factory=dict)
    numbers: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    tags: Mapping[str, Tag] = field(default_factory=dict)
    read: ReadSeries | None = None


def proposal_for(history: AlarmHistory, window: Window, known: Known) -> Proposal:
    """What to change at the alarm, and what that would have changed within the window."""
    rule = known.rules.get(history.name.rule) if history.name.origin == OURS else None
    spells = spells_in(history, window)
    delays = delays_for(spells, window.end_ns, longest_on_s=_longest_on_s(rule))
    return Proposal(
        history.name,
        history.label,
        nuisance_of(history, window),
        delays,
        backtest(spells, delays, window.end_ns),
        rule.on_delay if rule else None,
        rule.off_delay if rule else None,
        _band(history, spells, rule, known),
    )


def spells_in(history: AlarmHistory, window: Window) -> list[Spell]:
    """The spells that began within the window and of which somebody was told when they began."""
    told = {a.time_ns for a in history.announced if a.came}
    return [s for s in history.active if s.start_ns in window and s.start_ns in told]


def delays_for(spells: Sequence[Spell], now_ns: int, *, longest_on_s: float = _LONGEST_ON_S) -> Delays:
    """The shortest delays that bring most of what longer ones would: an off-delay first, it makes nothing
    late.

    Args:
        spells: of one alarm, in order, apart from one another.
        now_ns: end of what is known.
    """
    if len(spells) < LEAST_SPELLS:
        return Delays()

    def saved(delays: Delays) -> int:
        return len(spells) - len(delayed(spells, delays))

    off_s = _shortest(LADDER_S, lambda s: saved(Delays(off_s=s)), len(spells))
    so_far = saved(Delays(off_s=off_s))
    # An on-delay may silence a flicker, never what came again and again.
    rungs = [
        s
        for s in LADDER_S
        if s <= longest_on_s and not backtest(spells, Delays(s, off_s), now_ns).untold_repeating
    ]
    on_s = _shortest(rungs, lambda s: saved(Delays(s, off_s)) - so_far, len(spells) - so_far)
    return Delays(on_s, off_s)


def _shortest(rungs: Sequence[float], gain: Callable[[float], int], of: int) -> float:
    """The shortest delay with most of the longest one's gain; 0 where that is not worth it."""
    if not rungs or of <= 0:
        return 0.0
    best = gain(rungs[-1])
    if best < _WORTH * of:
        return 0.0
    return next(s for s in rungs if gain(s) >= _ENOUGH * best)


def _longest_on_s(rule: Rule | None) -> float:
    if rule is None or not isfinite(rule.respond_s):
        return _LONGEST_ON_S
    return rule.respond_s * _SHARE_OF_RESPONSE


def _band(history: AlarmHistory, spells: Sequence[Spell], rule: Rule | None, known: Known) -> DeadBand | None:
    if rule is None or rule.set_point is None or known.read is None or not spells:
        return None
    unit = rule.parameters[rule.set_point].unit
    if unit in ("%", "1", "s"):  # a share or a time: no signal is measured in it
        return None
    of_tag = "Cel" if unit == "K" else unit
    paths = [
        p
        for p in history.tags
        if p in known.tags and known.tags[p].unit == of_tag and known.tags[p].kind is TagKind.ANALOG
    ]
    times = [s.start_ns for s in spells][-MOST_ACTIVATIONS:]
    if not paths:
        return None
    read = [known.read(paths, t - AROUND_NS, t + AROUND_NS) for t in times]
    noises: dict[str, Noise] = {}
    for path in paths:
        noise = noise_near(_joined([r.get(path, Series.empty()) for r in read]), times)
        if noise is not None:
            noises[path] = noise
    value = dead_band(noises)
    if value is None:
        return None
    now = known.numbers.get(history.name.rule, {}).get(rule.dead_band) if rule.dead_band else None
    return DeadBand(value, unit, noises, now, rule.dead_band)


def _joined(pieces: Sequence[Series]) -> Series:
    """Pieces in order that may overlap, as one series without repetitions."""
    times = np.concatenate([p.time_ns for p in pieces])
    values = np.concatenate([p.value for p in pieces])
    qualities = np.concatenate([p.quality for p in pieces])
    once, first = np.unique(times, return_index=True)
    return Series(once, values[first], qualities[first])
