"""Judges a whole trial with the live rules: the one place where a backtest feeds them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from historian.frame import NS, Frame
from historian.tags import Tag
from rules.backtest.lots import LOT_S, lots
from rules.backtest.said import Record, record_of
from rules.detectors import detectors_for
from rules.engine import Engine
from rules.entry import Entry
from rules.line import LineFacts
from rules.seen.told import Told
from rules.table.settings import latching_rules

_STAGE = "stage"


def judged(
    frames: Iterable[tuple[int, Frame]],
    tags: Mapping[str, Tag],
    facts: LineFacts,
    told: Sequence[Told] = (),
    *,
    lot_s: int = LOT_S,
) -> Record:
    """What the rules of a line say of a trial.

    Args:
        frames: with their arrival numbers, in order of arrival.
        tags: every tag of the trial by path.
        told: what people marked and the laboratory found.

    Raises:
        WrongInput: a rule's setting that cannot be.
    """
    span = _Span()
    names = {d.rule for d in detectors_for(facts, tags)} - {_STAGE}
    entries = list(entries_of(span.watch(lots(frames, lot_s)), tags, facts, told))
    return record_of(entries, names, span.start_ns, span.end_ns)


def entries_of(
    frames: Iterable[tuple[int, Frame]], tags: Mapping[str, Tag], facts: LineFacts, told: Sequence[Told] = ()
) -> Iterator[Entry]:
    """The journal's entries: frames through the live engine, with what was told when it was told."""
    engine = Engine(tags, lambda: detectors_for(facts, tags), latching=latching_rules(facts))
    waiting = sorted(told, key=lambda t: t.time_ns, reverse=True)
    last_ns: int | None = None
    for number, frame in frames:
        while waiting and waiting[-1].time_ns <= frame.arrival_ns:
            engine.tell(waiting.pop())
        engine.feed(number, frame)
        last_ns = frame.arrival_ns if last_ns is None else max(last_ns, frame.arrival_ns)
        yield from engine.advance(last_ns)
    if last_ns is not None:
        yield from engine.advance((last_ns // NS + 1) * NS)


class _Span:
    """First and last time of what passes: from the first sample to the last arrival."""

    def __init__(self) -> None:
        self.start_ns = self.end_ns = 0

    def watch(self, frames: Iterable[tuple[int, Frame]]) -> Iterator[tuple[int, Frame]]:
        first = True
        for number, frame in frames:
            if len(frame) and first:
                self.start_ns, first = min(int(frame.time_ns.min()), frame.arrival_ns), False
            self.end_ns = max(self.end_ns, frame.arrival_ns)
            yield number, frame
