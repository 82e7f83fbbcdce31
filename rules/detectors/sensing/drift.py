"""Whether two pressures along the melt contradict each other while it flows.

It flows downhill: of two neighbours the one downstream never reads higher. What is lost on a fixed way goes
with what is lost on the others. And when a cleaning takes melt, both dip together.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import pairwise
from math import isnan, nan
from typing import Any

from historian.frame import NS
from historian.tags import Tag
from rules.detectors.sensing.failed import words
from rules.detectors.sensing.following import Following
from rules.detectors.sensing.leap import Leap
from rules.detectors.sensing.line_losses import LineLosses
from rules.detectors.sensing.zero import melt_pressures
from rules.finding import Blind, Finding
from rules.line import LineFacts
from rules.seen.episode import Episodes
from rules.seen.rule import TensRule
from rules.seen.stage import Stage, Tens
from rules.seen.tens import TENS_S
from rules.seen.told import MATERIAL_CHANGED, ZERO_STATE

_WIPE_S = 30.0
_DIE, _MELT = "die.pressure.pv", "extruder.melt.temp.pv"
_SCREEN = ("filter.inlet.pressure.pv", "filter.outlet.pressure.pv")
_LEARN_SHARE = 0.5
# Who loses so much more than usual does not drift: melt does not pass. common practice, no source.
_PLUGGED_BAR = 25.0


class SensorDrift(TensRule):
    """Rule ``sensor-drift``: of two neighbours the one downstream reads higher, or what is lost between them
    has left its share of what is lost elsewhere; or one follows the other late; or the melt temperature has
    leapt.

    The share needs a quarter of an hour of steady running, a pressure before the die, and two ways that
    nothing blinds, with no pump at either end; without them a line is judged by the first alone.
    """

    RULE = "sensor-drift"

    def __init__(self, facts: LineFacts, tags: Mapping[str, Tag], stage: Stage) -> None:
        super().__init__(facts, stage)
        self._pairs = neighbours(tags)
        # Where a pump stands in the line is not told: the screen may lie between it and the screw.
        fixed = (p for p in self._pairs if p != _SCREEN and not any(end.startswith("pump.") for end in p))
        ways = dict(fixed)
        moves_bar, slow_share = self.values["moves_bar"], self.values["slow_share"]
        self._following = {pair: Following(moves_bar, slow_share) for pair in ways.items()}
        self._lagging = dict.fromkeys(self._following, 0)  # which of the two, also when it follows again
        self._ways = ways if _DIE in tags and len(ways) > 1 else {}
        self._losses = LineLosses(list(self._ways))
        self._leap = Leap(self.values["leap_k"])
        held_s = self.values["held_s"] - TENS_S
        self._episodes = Episodes(held_s, held_s)

    def judge(self, tens: Tens) -> Iterable[Finding | Blind]:
        """What these ten seconds say."""
        if any(t.what in (MATERIAL_CHANGED, ZERO_STATE) for t in tens.told):
            self._losses = LineLosses(list(self._ways))  # another melt, or transducers that were looked after
        why = tens.line.unsettled(start_s=300.0, settle_s=60.0)
        yield from self.blind.note(tens.time_ns, why)
        if _MELT in self.stage.column:
            yield from self._leapt(self._at(tens, _MELT) if why is None else None, tens)
        for pair, following in self._following.items():
            change = following.judge(*(self._at(tens, p) if why is None else nan for p in pair))
            if change:
                yield self._late(pair, following, tens)
        if why is not None or tens.line.wiped_s < _WIPE_S:
            return
        lost = {up: self._at(tens, up) - self._at(tens, down) for up, down in self._pairs}
        expected = self._expected(tens, lost)
        for up, down in self._pairs:
            loss_bar, wanted_bar = lost[up], expected.get(up, nan)
            known = not isnan(loss_bar)
            yield from self.blind.note(tens.time_ns, None if known else "a pressure is not known", up)
            off = loss_bar < -self.values["reverse_bar"] or self._has_left(loss_bar, wanted_bar)
            change = self._episodes[up].judge(tens.time_ns, off if known else None)
            if change:
                yield self._said(up, down, loss_bar, wanted_bar, tens, active=change > 0)

    def _at(self, tens: Tens, path: str) -> float:
        return float(tens.mean[self.stage.column[path]])

    def _leapt(self, cel: float | None, tens: Tens) -> Iterable[Finding]:
        before_cel = self._leap.before_cel
        change = self._leap.judge(cel)
        if cel is None or not change:
            return
        before = self._leap.before_cel if before_cel is None else before_cel
        sentence = (
            f"{words(_MELT)} has leapt from {before:.0f} to {cel:.0f} Cel within half a minute; melt in "
            "even running does not. How warm it is, is not known."
            if change > 0
            else f"{words(_MELT)} reads what it read before its leap."
        )
        figures = {"before": (before or nan, "Cel"), "reads": (cel, "Cel")}
        yield self.finding(
            _MELT.rsplit(".", 1)[0],
            change > 0,
            tens.time_ns,
            sentence[0].upper() + sentence[1:],
            onset_ns=tens.time_ns - int(3 * TENS_S * NS),
            tags=(_MELT,),
            figures=figures,
        )

    def _late(self, pair: tuple[str, str], following: Following, tens: Tens) -> Finding:
        active = following.late is not None
        late = self._lagging[pair] = self._lagging[pair] if following.late is None else following.late
        slow, other = pair[late], pair[1 - late]
        moved, usual = following.moved_bar, following.usual_bar
        sentence = (
            f"{words(slow)} moves by {moved[late]:.2f} bar from ten seconds to the next, where "
            f"{usual[late]:.2f} are usual, while {words(other)} moves as ever: it follows late. Whether the "
            "sensor's channel is clogged, or its signal is smoothed, is not known."
            if active
            else f"{words(slow)} follows {words(other)} again."
        )
        return self.finding(
            f"{slow.rsplit('.', 1)[0]}.following",
            active,
            tens.time_ns,
            sentence[0].upper() + sentence[1:],
            onset_ns=tens.time_ns,
            tags=(slow, other),
            figures={
                "moves": (moved[late], "bar"),
                "usually moves": (usual[late], "bar"),
                "the other moves": (moved[1 - late], "bar"),
            },
        )

    def _expected(self, tens: Tens, lost: Mapping[str, float]) -> Mapping[str, float]:
        """What each way ought to lose; learns while all are near that."""
        if not self._ways:
            return {}
        die_bar = self._at(tens, _DIE)
        expected = self._losses.expected_bar(lost, die_bar)
        near = all(
            isnan(e) or abs(lost[up] - e) < _LEARN_SHARE * self._limit(e) for up, e in expected.items()
        )
        if tens.line.steady and near and not any(self._episodes[up].standing for up in self._ways):
            self._losses.learn(lost, die_bar)
        return expected

    def _limit(self, expected_bar: float) -> float:
        return max(self.values["off_bar"], self.values["off_share"] * expected_bar)

    def _has_left(self, loss_bar: float, expected_bar: float) -> bool:
        """Whether a loss is off by more than permitted; not, where what is expected is not known."""
        more = loss_bar - expected_bar
        return abs(more) > self._limit(expected_bar) and more < _PLUGGED_BAR

    def _said(
        self, up: str, down: str, loss_bar: float, expected_bar: float, tens: Tens, *, active: bool
    ) -> Finding:
        if not active:
            sentence = f"{words(down)} and {words(up)} before it agree again."
        elif loss_bar < -self.values["reverse_bar"]:
            sentence = (
                f"{words(down)} reads {-loss_bar:.1f} bar more than {words(up)} before it, while melt flows "
                "from there to here. One of the two is off; which one is not known."
            )
        else:
            sentence = (
                f"Between {words(up)} and {words(down)} {loss_bar:.1f} bar are lost where the other "
                f"pressures let expect {expected_bar:.1f}. One of the two is off, or the way between has "
                "changed; which it is is not known."
            )
        return self.finding(
            up.rsplit(".", 1)[0],
            active,
            tens.time_ns,
            sentence[0].upper() + sentence[1:],
            onset_ns=self._episodes[up].onset_ns,
            tags=(up, down),
            figures={
                "pressure lost on the way": (loss_bar, "bar"),
                "expected": (0.0 if isnan(expected_bar) else expected_bar, "bar"),
            },
        )

    def save(self) -> dict[str, Any]:
        """The state as JSON types."""
        return {
            **super().save(),
            "episodes": self._episodes.save(),
            "losses": self._losses.save(),
            "leap": self._leap.save(),
            "following": [f.save() for f in self._following.values()],
            "lagging": list(self._lagging.values()),
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        super().restore(state)
        self._episodes.restore(state["episodes"])
        self._losses.restore(state["losses"])
        self._leap.restore(state["leap"])
        for following, kept in zip(self._following.values(), state["following"], strict=True):
            following.restore(kept)
        self._lagging = dict(zip(self._following, state["lagging"], strict=True))


def neighbours(tags: Mapping[str, Tag]) -> list[tuple[str, str]]:
    """Melt pressures that follow each other with nothing between them that adds pressure."""
    pairs = pairwise(melt_pressures(tags))
    return [(up, down) for up, down in pairs if down != "pump.outlet.pressure.pv"]
