"""Whether a sensor has failed: its samples are bad though its source delivers."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from historian.catalogue import meaning_of
from historian.frame import NS, Series
from historian.quality import NO_COMMUNICATION, NO_DATA, is_bad
from historian.tags import Tag, TagKind
from rules.block import Block
from rules.finding import Evidence, Finding
from rules.line import LineFacts
from rules.seen.episode import Episodes
from rules.table.settings import values_of

RULE = "sensor-failed"

_CODE = np.uint32(0xFFFF_0000)
_LOST = np.asarray([NO_DATA, NO_COMMUNICATION], dtype=np.uint32)
_PROBE = re.compile(r"((filter\.plate|extruder\.zone|die\.zone|pump\.zone)\.\d+|filter\.discharge)\.temp\.pv")


class SensorFailed:
    """Rule ``sensor-failed``: the samples of one tag are bad, other than by the loss of their source."""

    rule = RULE

    def __init__(self, facts: LineFacts, tags: Mapping[str, Tag]) -> None:
        self._values = values_of(facts, RULE)
        self._paths = frozenset(p for p, t in tags.items() if is_sensor(p, t))
        self._episodes = Episodes(self._values["held_s"], self._values["good_s"])

    def update(self, block: Block) -> Sequence[Finding]:
        """What the qualities of the samples say."""
        bad = is_bad(block.quality)
        if not bad.any() and not self._episodes:
            return ()
        found: list[Finding] = []
        touched = np.unique(block.each[bad]).tolist()
        watched = {block.names[k] for k in touched} | set(self._episodes)
        for path in sorted(watched & self._paths):
            found.extend(self._follow(path, block.series(path)))
        return found

    def _follow(self, path: str, series: Series) -> Iterator[Finding]:
        lost = np.isin(series.quality & _CODE, _LOST).tolist()
        bad = is_bad(series.quality).tolist()
        for time_ns, is_lost, holds in zip(series.time_ns.tolist(), lost, bad, strict=True):
            change = self._episodes[path].judge(time_ns, None if is_lost else holds)
            if change:
                yield self._finding(path, time_ns, active=change > 0)
        if not self._episodes[path].waits and not self._episodes[path].standing:
            del self._episodes[path]

    def advance(self, now_ns: int) -> Sequence[Finding]:
        """Nothing: missing samples are the affair of the rules of sources."""
        return ()

    def _finding(self, path: str, time_ns: int, *, active: bool) -> Finding:
        onset_ns = self._episodes[path].onset_ns
        name = words(path)
        sentence = (
            f"The sensor of {name} has failed: its samples are bad for {(time_ns - onset_ns) / NS:.0f} s. "
            "What it would show now is not known."
            if active
            else f"The sensor of {name} shows a value again."
        )
        evidence = Evidence(onset_ns, time_ns, (path,))
        priority, advice = self._values.priority(), self._values.advice
        subject = path.rsplit(".", 1)[0]
        return Finding(RULE, subject, active, time_ns, onset_ns, priority, sentence, advice, evidence)

    def save(self) -> dict[str, Any]:
        """The state as JSON types."""
        return {"episodes": self._episodes.save()}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        self._episodes.restore(state["episodes"])


def is_sensor(path: str, tag: Tag) -> bool:
    """Whether a tag is a measured value that no rule of heated zones looks at."""
    measured = tag.kind is TagKind.ANALOG and path.endswith(".pv") and not path.startswith("edge.")
    return measured and _PROBE.fullmatch(path) is None


def words(path: str) -> str:
    """What a person calls the signal: its meaning, and its path.

    Example:
        >>> words("die.pressure.pv")
        'melt before the die plate (die.pressure.pv)'
    """
    meaning = meaning_of(path)
    return path if meaning is None else f"{meaning.text} ({path})"
