"""What was recorded comes out again: times moved as one, gaps, changes."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from historian.embedded.store import EmbeddedStore
from historian.errors import WrongInput
from historian.frame import NS
from historian.quality import GOOD, NO_DATA
from simulator.recorded.csv_file import Samples
from simulator.recorded.playback import FileRecording, Playback, StoreRecording, recording_at
from tests.support.recordings import BEAT, PRESSURE, ROWS, T0_NS, TAGS, long_in, parquet_in, played, store_in


@pytest.fixture(params=["store", "long", "parquet"])
def recorded(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    if request.param == "store":
        return store_in(tmp_path / "store", ROWS)
    if request.param == "parquet":
        return parquet_in(tmp_path / "rows.parquet", ROWS)
    return long_in(tmp_path / "rows.csv", ROWS)


def test_what_goes_in_comes_out_moved_as_one(recorded: Path) -> None:
    with closing(Playback(recording_at(recorded))) as playback:
        now_ns = T0_NS + 123_456_789_012_345
        zero_ns = playback.begin(now_ns)
        rows = played(playback)
    move_ns = zero_ns - T0_NS
    assert move_ns % 1_000_000 == 0
    assert now_ns - 1_000_000 < zero_ns <= now_ns
    assert sorted(rows, key=str) == sorted(((p, t + move_ns, v, q) for p, t, v, q in ROWS), key=str)
    assert [t for _, t, _, _ in rows] == sorted(t for _, t, _, _ in rows)


def test_times_are_kept_where_asked(recorded: Path) -> None:
    with closing(Playback(recording_at(recorded), keep_times=True)) as playback:
        assert playback.begin(T0_NS * 2) == T0_NS
        assert sorted(played(playback), key=str) == sorted(ROWS, key=str)


def test_nothing_comes_before_its_time_and_a_gap_stays_a_gap(recorded: Path) -> None:
    with closing(Playback(recording_at(recorded))) as playback:
        playback.begin(0)
        given = [len(playback.at(second)) for second in range(95)]
    assert playback.last_s == 94
    assert given[:4] == [2, 2, 2, 0]
    assert given[4:92] == [0] * 88
    assert given[92:] == [1, 0, 1]


def test_a_changed_sample_is_told_from_a_repeated_one(tmp_path: Path) -> None:
    values = [1.0, 1.0, None, None, 1.0]
    rows = [(PRESSURE.path, T0_NS + k * NS, v, GOOD if v else NO_DATA) for k, v in enumerate(values)]
    playback = Playback(FileRecording(long_in(tmp_path / "rows.csv", rows)))
    playback.begin(T0_NS)
    assert [s.changed for k in range(5) for s in playback.at(k)] == [True, False, True, False, True]


def test_the_tags_of_a_store_are_marked_as_played(tmp_path: Path) -> None:
    with closing(StoreRecording(store_in(tmp_path / "store", ROWS))) as recording:
        assert [(t.path, t.unit, t.kind, t.simulated, t.source) for t in recording.tags] == [
            (t.path, t.unit, t.kind, True, "playback") for t in TAGS
        ]


def test_a_store_without_samples_of_a_line_is_refused(tmp_path: Path) -> None:
    store = EmbeddedStore.open(tmp_path / "store")
    store.register([BEAT])
    store.close()
    with pytest.raises(WrongInput, match="no sample of a line"):
        recording_at(tmp_path / "store")


def test_a_file_that_is_not_there_or_no_text_is_refused(tmp_path: Path) -> None:
    with pytest.raises(WrongInput, match=r"none\.csv: the file cannot be read"):
        recording_at(tmp_path / "none.csv")
    (tmp_path / "picture").write_bytes(b"\x89PNG\xff\xfe,\n")
    with pytest.raises(WrongInput, match="not a CSV file in UTF-8"):
        recording_at(tmp_path / "picture")


class _Rows:
    """A recording from memory."""

    def __init__(self, times: list[int]) -> None:
        self.tags = (PRESSURE,)
        self._times = np.array(sorted(times), dtype=np.int64)
        self.span = int(self._times[0]), int(self._times[-1])

    def between(self, start_ns: int, end_ns: int) -> Samples:
        t = self._times[(self._times >= start_ns) & (self._times < end_ns)]
        return Samples(np.zeros(len(t), np.int64), t, np.arange(len(t)) * 1.0, np.zeros(len(t), np.uint32))

    def close(self) -> None:
        """Nothing to close."""


@given(st.lists(st.integers(T0_NS, T0_NS + 200 * NS), min_size=1), st.integers(0, 4_000_000_000 * NS))
def test_any_times_are_moved_by_one_span_and_none_is_lost(times: list[int], now_ns: int) -> None:
    playback = Playback(_Rows(times))
    zero_ns = playback.begin(now_ns)
    assert 0 <= now_ns - zero_ns < 1_000_000
    assert playback.last_s is not None
    given_ns = []
    for second in range(playback.last_s + 1):
        due = [s.time_ns for s in playback.at(second)]
        assert all(zero_ns + (second - 1) * NS < t <= zero_ns + second * NS for t in due)
        given_ns += due
    assert given_ns == [t + zero_ns - min(times) for t in sorted(times)]
