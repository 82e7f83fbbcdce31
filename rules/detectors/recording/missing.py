"""Whether a signal that usually comes at a steady rate comes with holes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from historian.frame import NS
from historian.tags import Tag, TagKind
from rules.block import Block, Places
from rules.detectors.recording.sources import source_of_tags
from rules.finding import Evidence, Finding
from rules.line import LineFacts
from rules.seen.episode import Episode
from rules.table.settings import values_of
from rules.words import count

RULE = "samples-missing"

_WINDOW_NS = 10 * NS
_SETTLED_NS = 3 * NS  # within a source, samples of the same moment come together
_SAMPLED = (".pv", ".out", ".i")  # the others are sent when they change
_KEPT = 60
_LEARNT_FROM = 30  # windows: five minutes
_LEAST_SAMPLES = 5.0  # in ten seconds; fewer do not tell a hole from chance
_REGULAR = 0.1
_TWICE = 2
_FEW = 0.3  # so few are a hole at once: a network may lose some seconds now and then
_SHOWN = 3

Counts = NDArray[np.float64]


class SamplesMissing:
    """Rule ``samples-missing``: one finding a source, naming its signals."""

    rule = RULE

    def __init__(self, facts: LineFacts, tags: Mapping[str, Tag]) -> None:
        self._values = values_of(facts, RULE)
        paths: dict[str, list[str]] = {}
        for path, name in source_of_tags(tags).items():
            if tags[path].kind is TagKind.ANALOG and path.endswith(_SAMPLED):
                paths.setdefault(name, []).append(path)
        whole_s = self._values["whole_s"]
        self._watches = {n: _SourceCounts(p, whole_s) for n, p in sorted(paths.items())}

    def update(self, block: Block) -> Sequence[Finding]:
        """What the numbers of samples say."""
        found = []
        window = block.time_ns // _WINDOW_NS
        for name, watch in self._watches.items():
            newest_ns = watch.count(block, window)
            for one in watch.over(newest_ns):
                change = watch.judge(one, self._values["share_percent"] / 100)
                if change:
                    found.append(self._finding(name, watch, (one + 1) * _WINDOW_NS, active=change > 0))
        return found

    def advance(self, now_ns: int) -> Sequence[Finding]:
        """Nothing: whole sources that fall silent are another rule's affair."""
        return ()

    def _finding(self, name: str, watch: _SourceCounts, time_ns: int, *, active: bool) -> Finding:
        paths = [watch.paths[at] for at in np.flatnonzero(watch.short).tolist()]
        onset_ns = min(watch.episode.onset_ns, time_ns)
        shown = ", ".join(paths[:_SHOWN]) + (" and others" if len(paths) > _SHOWN else "")
        one = len(paths) == 1
        signals = "One signal" if one else f"{count(len(paths)).capitalize()} signals"
        sentence = (
            f"{signals} of source {name} {'loses' if one else 'lose'} samples ({shown}): "
            f"{100 * watch.share:.0f} % of the usual number come, while the others are whole. "
            "What happened in the holes is not known."
            if active
            else f"The signals of source {name} are whole again."
        )
        figures = {"samples that come": (round(100 * watch.share, 1), "%")} if active else {}
        evidence = Evidence(onset_ns, time_ns, tuple(paths[:_SHOWN]), figures)
        priority, advice = self._values.priority(), self._values.advice
        return Finding(
            RULE, f"source.{name}", active, time_ns, onset_ns, priority, sentence, advice, evidence
        )

    def save(self) -> dict[str, Any]:
        """The state as JSON types."""
        return {name: watch.save() for name, watch in self._watches.items()}

    def restore(self, state: Mapping[str, Any]) -> None:
        """Take up what ``save`` gave."""
        for name, watch in self._watches.items():
            watch.restore(state[name])


class _SourceCounts:
    """How many samples of each signal of a source fell into each ten seconds of its time."""

    def __init__(self, paths: Sequence[str], whole_s: float) -> None:
        self.paths = tuple(paths)
        self._places = Places({p: n for n, p in enumerate(self.paths)})
        self.episode = Episode(0.0, whole_s)
        self.short = np.zeros(len(paths), dtype=np.bool_)
        self.share = 1.0
        self._open: dict[int, Counts] = {}
        self._before: Counts = np.empty((0, len(paths)))
        self._runs = np.zeros(len(paths), dtype=np.int64)

    def count(self, block: Block, window: NDArray[np.int64]) -> int:
        """Count the block's samples of this source; gives the newest one's source time, or 0.

        Args:
            window: of each sample of the block.
        """
        place = self._places.of(block.names)
        if not (place >= 0).any():
            return 0
        at = np.repeat(place, np.diff(block.start))
        mine = at >= 0
        at, window = at[mine], window[mine]
        first, wide = int(window.min()), len(self.paths)
        key = (window - first) * wide + at
        counts = np.bincount(key, minlength=(int(window.max()) - first + 1) * wide).reshape(-1, wide)
        for n in np.flatnonzero(counts.any(axis=1)).tolist():
            self._window(first + n)[:] += counts[n]
        return int(block.last(block.time_ns)[place >= 0].max())

    def _window(self, window: int) -> Counts:
        found = self._open.get(window)
        if found is None:
            found = self._open[window] = np.zeros(len(self.paths))
        return found

    def over(self, newest_ns: int) -> list[int]:
        """The windows that are over, in order."""
        return sorted(w for w in self._open if (w + 1) * _WINDOW_NS + _SETTLED_NS <= newest_ns)

    def judge(self, window: int, share: float) -> int:
        """What a window that is over says: 1 when the finding begins, -1 when it ends, else 0."""
        counts = self._open.pop(window)
        usual, regular = self._usual()
        short = regular & (counts < share * usual)
        most_are = regular.any() and 2 * np.sum(short) > np.sum(regular) and len(self.paths) > 1
        if most_are or not regular.any():
            # The source as a whole was late or silent, or nothing is known yet of what is usual.
            self._runs[:] = 0
            self._learn(counts, learns=not regular.any())
            return self.episode.judge(window * _WINDOW_NS, None)
        self._runs = np.where(short, self._runs + 1, 0)
        clearly = short & ((self._runs >= _TWICE) | (counts <= _FEW * usual))
        begins = bool(clearly.any())
        if begins and not self.episode.standing:
            self.short = clearly
            self.share = float(np.mean(counts[clearly] / usual[clearly]))
        self._learn(np.where(short, usual, counts), learns=True)
        holds = begins or (self.episode.standing and bool((short & self.short).any()))
        return self.episode.judge(window * _WINDOW_NS, holds)

    def _usual(self) -> tuple[Counts, NDArray[np.bool_]]:
        if len(self._before) < _LEARNT_FROM:
            nothing = np.zeros(len(self.paths))
            return nothing, nothing > 0
        usual: Counts = np.median(self._before, axis=0)
        scatter = np.median(np.abs(self._before - usual), axis=0)
        return usual, (usual >= _LEAST_SAMPLES) & (scatter <= _REGULAR * usual)

    def _learn(self, counts: Counts, *, learns: bool) -> None:
        if learns:
            self._before = np.concatenate((self._before, counts[None, :]))[-_KEPT:]

    def save(self) -> dict[str, Any]:
        return {
            "open": {str(w): c.tolist() for w, c in self._open.items()},
            "before": self._before.tolist(),
            "runs": self._runs.tolist(),
            "short": self.short.tolist(),
            "share": self.share,
            "episode": self.episode.save(),
        }

    def restore(self, state: Mapping[str, Any]) -> None:
        self._open = {int(w): np.asarray(c, dtype=np.float64) for w, c in state["open"].items()}
        self._before = np.asarray(state["before"], dtype=np.float64).reshape(-1, len(self.paths))
        self._runs = np.asarray(state["runs"], dtype=np.int64)
        self.short = np.asarray(state["short"], dtype=np.bool_)
        self.share = state["share"]
        self.episode.restore(state["episode"])
