"""A source whose clock is set back: what both clocks stamped stays, and nobody takes it for sure.

From the source's samples to the aggregates, with the parts that a running line has.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
import pytest

from collector import Inbox, SourceMapping, TagMapping, newest_epochs, newest_samples, tags_of
from historian import NS, EmbeddedStore
from historian.aggregates import Aggregate, AggregateConfig
from historian.embedded.upkeep import Upkeep
from historian.exchange import Window, export_csv, export_parquet
from historian.quality import GOOD, UNCERTAIN
from historian.retention import Keep
from historian.rollups.columns import MINUTE_NS

T = 1_893_456_000 * NS
PATH = "filter.inlet.pressure.pv"
SOURCE = SourceMapping("plc", "opc.tcp://x", False, (TagMapping(PATH, "i=1", "bar"),))
EVER = (T - 3600 * NS, T + 7200 * NS)
# Ten seconds are lived through twice: the clock goes back from 60 to 50.
TWICE = [T + k * NS for k in range(50, 60)]


class Line:
    """A source, its inbox and a store, the source and the edge told the time by the test."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.store = EmbeddedStore.open(folder)
        self.inbox = self._inbox()

    def _inbox(self) -> Inbox:
        known = self.store.register(tags_of([SOURCE]))
        latest = newest_samples(self.store, [SOURCE])
        epochs = newest_epochs(self.store, [SOURCE], self.store.last_number())
        return Inbox([SOURCE], known, latest, epochs=epochs)

    def runs(self, first_s: int, last_s: int, *, behind_s: int = 0) -> None:
        """A sample a second of the edge's time; the source's clock is behind by so much."""
        number = self.store.tags()[PATH].id
        frames = []
        for k in range(first_s, last_s):
            self.inbox.put("plc", number, T + (k - behind_s) * NS, float(k), GOOD)
            frames += self.inbox.cut(T + k * NS)
        self.store.append(*frames)

    def restart(self) -> None:
        self.store.close()
        self.store = EmbeddedStore.open(self.folder)
        self.inbox = self._inbox()

    def seal(self) -> None:
        upkeep = Upkeep.open(self.folder, "line-1", Keep())
        upkeep.step(T + 3 * 86_400 * NS, seal_all=True)
        upkeep.close()


@pytest.fixture(scope="module", params=["recent", "sealed", "sealed between", "another run"])
def stepped(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[EmbeddedStore]:
    """A minute, then the clock goes back by ten seconds, then another minute; kept in each of the ways."""
    line = Line(tmp_path_factory.mktemp("stepped"))
    line.runs(0, 60)
    if request.param == "sealed between":
        line.seal()
    if request.param == "another run":
        line.restart()
    line.runs(60, 120, behind_s=10)
    if request.param.startswith("sealed"):
        line.seal()
    yield line.store
    line.store.close()


def test_both_are_kept_and_come_out_uncertain(stepped: EmbeddedStore) -> None:
    series = stepped.read([PATH], *EVER)[PATH]
    valued = series.value == series.value
    times = series.time_ns[valued].tolist()
    assert sorted(times) == sorted([T + k * NS for k in range(110)] + TWICE)
    assert sorted(series.value[valued].tolist()) == [float(k) for k in range(120)]
    twice = np.isin(series.time_ns, TWICE) & valued
    assert set(series.quality[twice].tolist()) == {UNCERTAIN}
    assert set(series.quality[valued & ~twice].tolist()) == {GOOD}
    by_time = {t: set(series.value[series.time_ns == t].tolist()) for t in TWICE}
    assert by_time == {T + k * NS: {float(k), float(k + 10)} for k in range(50, 60)}


def test_nothing_counts_as_replaced(stepped: EmbeddedStore) -> None:
    assert stepped.modified(PATH, *EVER) == []


def test_the_frames_keep_their_epoch_and_the_quality_that_came(stepped: EmbeddedStore) -> None:
    epochs, codes = set(), set()
    for _, frame in stepped.frames():
        epochs.add(frame.clock_epoch)
        codes |= set(frame.quality[frame.value == frame.value].tolist())
    assert epochs == {0, 1}
    assert codes == {GOOD}


def test_rollups_and_aggregates_tell_that_they_are_not_sure(stepped: EmbeddedStore) -> None:
    rows = stepped.rollup([PATH], T, T + 120 * NS, MINUTE_NS)
    assert rows.uncertain.tolist() == [20, 0]
    assert (rows.samples - rows.bad).tolist() == [70, 50]
    lax = AggregateConfig(treat_uncertain_as_bad=False)
    (average,) = stepped.aggregate(PATH, T, T + 60 * NS, 60 * NS, Aggregate.AVERAGE, config=lax)
    assert average.quality >> 30 == 1
    (worst,) = stepped.aggregate(PATH, TWICE[0], TWICE[-1], 9 * NS, Aggregate.WORST_QUALITY, config=lax)
    assert worst.value == UNCERTAIN
    (sure,) = stepped.aggregate(PATH, T, TWICE[0], 50 * NS, Aggregate.AVERAGE)
    assert sure.quality >> 30 == 0 and sure.value == pytest.approx(24.5)


def test_an_export_holds_both(stepped: EmbeddedStore, tmp_path: Path) -> None:
    window = Window((PATH,), TWICE[0], TWICE[-1] + NS)
    export_csv(stepped, tmp_path / "both.csv", window)
    lines = [r.split(",") for r in (tmp_path / "both.csv").read_text(encoding="utf-8").splitlines()[1:]]
    valued = [r for r in lines if r[2]]
    assert len(valued) == 20 and {r[4] for r in valued} == {"0x40000000"}
    export_parquet(stepped, tmp_path / "both.parquet", window)
    table = pq.read_table(tmp_path / "both.parquet").to_pydict()
    codes = [q for q, v in zip(table["quality"], table["value"], strict=True) if v is not None]
    assert codes == [UNCERTAIN] * 20
