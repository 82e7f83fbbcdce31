"""Where a new run goes on from: the newest samples and clock epochs that the store holds."""

from __future__ import annotations

from collections.abc import Iterable

from collector.reading.mapping import SourceMapping
from historian.clocks.originals import shift_path
from historian.store import Sample, Store

_LOOK_BACK = (2_000, 100_000)  # frames; after these, all there are


def newest_samples(store: Store, sources: Iterable[SourceMapping]) -> dict[str, Sample]:
    """The newest stored sample of each tag that the sources deliver, and of their clocks' shifts, by path."""
    known = store.tags()
    paths = [p for s in sources for p in (*(t.path for t in s.tags), shift_path(s.name))]
    return store.latest([p for p in paths if p in known])


def newest_epochs(store: Store, sources: Iterable[SourceMapping], last_seq: int) -> dict[str, int]:
    """The clock epoch of each source's newest frames, by name.

    Args:
        last_seq: arrival number of the newest frame. The newest frames are looked at first, older ones only
            for a source that is not among them.
    """
    sources = list(sources)
    known = store.tags()
    owners = {known[t.path].id: s.name for s in sources for t in s.tags if t.path in known}
    wanted = {s.name for s in sources if any(t.path in known for t in s.tags)}
    for look_back in (*_LOOK_BACK, last_seq):
        epochs: dict[str, int] = {}
        for _, frame in store.frames(max(0, last_seq - look_back)):
            if len(frame) and (name := owners.get(int(frame.tag[0]))) is not None:
                epochs[name] = frame.clock_epoch
        if wanted <= epochs.keys() or look_back >= last_seq:
            break
    return epochs
