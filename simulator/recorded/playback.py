"""Plays recorded data again: a store's folder, a CSV or a Parquet file as a feed, its times moved or kept."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Final, Protocol

import numpy as np

from historian.embedded.store import EmbeddedStore
from historian.errors import WrongInput
from historian.frame import NS
from historian.tags import Tag
from simulator.controls.view import Message
from simulator.published import Sample
from simulator.recorded.csv_file import SOURCE, Samples, read_csv
from simulator.recorded.parquet_file import read_parquet
from simulator.serving.serving import RECORDING_SPEEDS

_WINDOW_NS: Final = 60 * NS
# The edge's own tags (its heartbeat) say nothing of the line.
_EDGE: Final = "edge."
_MOVE_BY_NS: Final = 1_000_000
_PARQUET: Final = (".parquet", ".pq")


class Recording(Protocol):
    """Recorded samples of a line."""

    @property
    def tags(self) -> tuple[Tag, ...]:
        """Whose samples; a sample's column is the place here."""
        ...

    @property
    def span(self) -> tuple[int, int]:
        """Source time of the first and the last sample."""
        ...

    def between(self, start_ns: int, end_ns: int) -> Samples:
        """The samples with start ≤ source time < end, in order of time."""
        ...

    def close(self) -> None:
        """Let go of files."""
        ...


class StoreRecording:
    """The samples of an embedded store; it is read while it is played, so it may be long.

    Raises:
        WrongInput: no samples of a line are in it.
    """

    def __init__(self, folder: Path) -> None:
        self._store = EmbeddedStore.open(folder, mode="read")
        tags = sorted(self._store.tags().values(), key=lambda tag: tag.id)
        self.tags = tuple(
            replace(tag, source=SOURCE, simulated=True, id=0)
            for tag in tags
            if not tag.path.startswith(_EDGE)
        )
        self._paths = [tag.path for tag in self.tags]
        span = self._store.span()
        if span is None or not self.tags:
            self._store.close()
            raise WrongInput(f"{folder}: there is no sample of a line in this store")
        self.span = span

    def between(self, start_ns: int, end_ns: int) -> Samples:
        """The samples of that window."""
        series = list(self._store.read(self._paths, start_ns, end_ns).values())
        times = np.concatenate([s.time_ns for s in series])
        order = np.argsort(times, kind="stable")
        column = np.repeat(np.arange(len(series), dtype=np.int64), [len(s) for s in series])
        return Samples(
            column[order],
            times[order],
            np.concatenate([s.value for s in series])[order],
            np.concatenate([s.quality for s in series])[order],
        )

    def close(self) -> None:
        """Let go of the store."""
        self._store.close()


class FileRecording:
    """The samples of a CSV or a Parquet file, all in memory."""

    def __init__(self, path: Path) -> None:
        read = read_parquet if path.suffix.lower() in _PARQUET else read_csv
        self.tags, self._samples = read(path)
        times = self._samples.time_ns
        self.span = int(times[0]), int(times[-1])

    def between(self, start_ns: int, end_ns: int) -> Samples:
        """The samples of that window."""
        samples = self._samples
        a, b = np.searchsorted(samples.time_ns, [start_ns, end_ns])
        return Samples(samples.column[a:b], samples.time_ns[a:b], samples.value[a:b], samples.quality[a:b])

    def close(self) -> None:
        """The file was closed when it had been read."""


def recording_at(path: Path) -> Recording:
    """What is recorded in a store's folder, a CSV file or a Parquet file (by the end of its name).

    Raises:
        WrongInput, OutsideWorldAway, StoredDataDamaged: naming the file and the remedy.
    """
    if path.is_dir():
        return StoreRecording(path)
    return FileRecording(path)


class Playback:
    """A recording as a feed: in each second what lies in the second before it, so nothing comes early.

    Args:
        keep_times: leave the source times as recorded; otherwise all are moved by one and the same span,
            whole milliseconds, such that the first is when the playback begins.
    """

    def __init__(self, recording: Recording, *, keep_times: bool = False) -> None:
        self._recording = recording
        self._keep_times = keep_times
        self._first_ns, last_ns = recording.span
        self._move_ns = 0
        self._ahead: list[Sample] = []
        self._loaded_ns = self._first_ns
        self._before: dict[int, tuple[float | None, int]] = {}
        self.tags = recording.tags
        self.start_s = 0
        self.last_s: int | None = -(-(last_ns - self._first_ns) // NS)
        self.speeds = RECORDING_SPEEDS

    def begin(self, now_ns: int) -> int:
        """Set the clock; the source time of second 0."""
        if not self._keep_times:
            self._move_ns = (now_ns - self._first_ns) // _MOVE_BY_NS * _MOVE_BY_NS
        return self._first_ns + self._move_ns

    def at(self, second: int) -> list[Sample]:
        """The samples up to that second that were not given yet."""
        upto_ns = self._first_ns + second * NS
        while self._loaded_ns <= upto_ns:
            end_ns = self._loaded_ns + _WINDOW_NS
            self._ahead += self._samples(self._recording.between(self._loaded_ns, end_ns))
            self._loaded_ns = end_ns
        limit_ns = upto_ns + self._move_ns
        due = next((k for k, s in enumerate(self._ahead) if s.time_ns > limit_ns), len(self._ahead))
        given, self._ahead = self._ahead[:due], self._ahead[due:]
        return given

    def said(self) -> list[Message]:
        """Nothing: what controls said is not recorded."""
        return []

    def away(self) -> frozenset[str]:
        """None: why there is no sample is not recorded."""
        return frozenset()

    def close(self) -> None:
        """Let go of the recording."""
        self._recording.close()

    def _samples(self, recorded: Samples) -> Sequence[Sample]:
        samples = []
        columns = (recorded.column, recorded.time_ns, recorded.value, recorded.quality)
        for column, time_ns, value, quality in zip(*(c.tolist() for c in columns), strict=True):
            shown = (None if math.isnan(value) else value, quality)
            changed = self._before.get(column) != shown
            self._before[column] = shown
            path = self.tags[column].path
            samples.append(Sample(path, column, time_ns + self._move_ns, value, quality, changed))
        return samples
