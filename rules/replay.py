"""Judges stored frames again, and says in words where two journals differ."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from historian.frame import NS, Frame
from historian.tags import Tag
from rules.engine import Engine
from rules.entry import Act, Entry, EntryKind
from rules.lane import MakeDetectors
from rules.states import State
from rules.table import RULES
from rules.table.rule import Rule


def replay(
    frames: Iterable[tuple[int, Frame]],
    tags: Mapping[str, Tag],
    make_detectors: MakeDetectors,
    acts: Iterable[Act] = (),
    taken: Mapping[int, int] | None = None,
    until_ns: int | None = None,
    *,
    latching: Collection[str] = (),
    about: Mapping[str, Rule] = RULES,
) -> Iterator[Entry]:
    """The entries of a line's journal, judged again in the order of arrival.

    Args:
        frames: with their arrival numbers, as ``Store.frames`` gives them.
        acts: people's acts; each is taken in the second that ``taken`` names, the others not at all.
        taken: act number → second of arrival.
        until_ns: judge whole seconds of arrival that end up to here; None: to the last frame.
        latching, about: see ``Engine``.
    """
    engine = Engine(tags, make_detectors, latching=latching, about=about)
    for act in acts:
        if taken is not None and act.id in taken:
            engine.schedule(act, taken[act.id])
    last_ns: int | None = None
    for seq, frame in frames:
        if until_ns is not None and frame.arrival_ns >= until_ns:
            break
        engine.feed(seq, frame)
        last_ns = frame.arrival_ns if last_ns is None else max(last_ns, frame.arrival_ns)
        yield from engine.advance(last_ns)
    if last_ns is not None:
        yield from engine.advance((last_ns // NS + 1) * NS if until_ns is None else until_ns)


def replay_by_source_time(
    frames: Iterable[tuple[int, Frame]],
    tags: Mapping[str, Tag],
    make_detectors: MakeDetectors,
    acts: Iterable[Act] = (),
    taken: Mapping[int, int] | None = None,
    until_ns: int | None = None,
    *,
    latching: Collection[str] = (),
    about: Mapping[str, Rule] = RULES,
) -> Iterator[Entry]:
    """What the rules would have said, had every sample come at once: judged in the order of source time.

    The same tag and source time twice: the last one written counts, one of a later clock epoch before all.
    Holds all samples in memory (24 bytes each).
    """
    in_time = _by_source_second([f for _, f in frames if len(f)])
    yield from replay(in_time, tags, make_detectors, acts, taken, until_ns, latching=latching, about=about)


def _by_source_second(frames: list[Frame]) -> Iterator[tuple[int, Frame]]:
    """One frame a whole second of source time, as if it had arrived at that second's end."""
    if not frames:
        return
    tag = np.concatenate([f.tag for f in frames])
    time_ns = np.concatenate([f.time_ns for f in frames])
    value = np.concatenate([f.value for f in frames])
    quality = np.concatenate([f.quality for f in frames])
    epoch = np.repeat([f.clock_epoch for f in frames], [len(f) for f in frames])
    second = time_ns // NS
    # lexsort is stable: what was written last comes last among equals.
    order = np.lexsort((epoch, time_ns, tag, second))
    order = order[_last_of_equals(tag[order], time_ns[order])]
    cuts = [0, *(np.flatnonzero(np.diff(second[order])) + 1).tolist(), len(order)]
    for n in range(len(cuts) - 1):
        part = order[cuts[n] : cuts[n + 1]]
        end_ns = (int(second[part[0]]) + 1) * NS
        yield n + 1, Frame(tag[part], time_ns[part], value[part], quality[part], end_ns - 1)


def _last_of_equals(tag: NDArray[np.int32], time_ns: NDArray[np.int64]) -> NDArray[np.bool_]:
    last = np.ones(len(tag), dtype=np.bool_)
    last[:-1] = (tag[1:] != tag[:-1]) | (time_ns[1:] != time_ns[:-1])
    return last


def judged_until(entries: Iterable[Entry], until_ns: int) -> list[Entry]:
    """The entries of the seconds of arrival that ``replay`` with the same ``until_ns`` judges.

    Their own times do not tell: a late finding bears the time of its sample.
    """
    return [e for e in entries if e.second is not None and (e.second + 1) * NS <= until_ns]


def difference(
    a: Iterable[Entry],
    b: Iterable[Entry],
    kinds: Collection[EntryKind | str] = (EntryKind.FINDING, EntryKind.TRANSITION),
) -> list[str]:
    """Where two journals differ, one sentence each; empty when they tell the same.

    Entries are matched by time, kind, rule and subject, in the order in which they stand.
    """
    first, second = _in_order(a, kinds), _in_order(b, kinds)
    words = []
    for name in sorted(first.keys() | second.keys()):
        ours, theirs = first.get(name, []), second.get(name, [])
        for one, other in zip(ours, theirs, strict=False):
            differing = sorted(k for k in one.keys() | other.keys() if one.get(k) != other.get(k))
            words += [
                f"{_called(name)}: {k} is {one.get(k)!r} there, {other.get(k)!r} here" for k in differing
            ]
        words += [f"{_called(name)}: only in the first ({_what(d)})" for d in ours[len(theirs) :]]
        words += [f"{_called(name)}: only in the second ({_what(d)})" for d in theirs[len(ours) :]]
    return words


_Name = tuple[int, str, str, str]


def _in_order(
    entries: Iterable[Entry], kinds: Collection[EntryKind | str]
) -> dict[_Name, list[Mapping[str, Any]]]:
    found: dict[_Name, list[Mapping[str, Any]]] = {}
    for entry in entries:
        if entry.kind in kinds:
            name = (entry.time_ns, str(entry.kind), entry.rule, entry.subject)
            found.setdefault(name, []).append(entry.data)
    return found


def _called(name: _Name) -> str:
    time_ns, kind, rule, subject = name
    return f"{np.datetime64(time_ns, 'ns')}Z {kind} {rule} of {subject}"


def _what(data: Mapping[str, Any]) -> str:
    if "to" in data:
        return f"{State(data['from']).words} → {State(data['to']).words}"
    return "began" if data.get("active") else "ended"
