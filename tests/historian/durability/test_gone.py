"""Rollups are the only copy once raw samples have gone: what comes late to such a day is added to them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from historian import EmbeddedStore, Frame, StoreFull
from historian.embedded.upkeep import Upkeep
from historian.retention import Keep
from historian.rollups.columns import HOUR_NS, MINUTE_NS
from historian.rollups.writer import RollupWriter
from tests.historian.durability.sent import DAY, HOUR, NUMBERS, START, TAGS

PATHS = list(NUMBERS)
MINUTE = HOUR // 60


def frame(tag: int, times: list[int], arrival_ns: int) -> Frame:
    """Samples of one tag."""
    return Frame.of([tag] * len(times), times, np.arange(len(times)), [0] * len(times), arrival_ns=arrival_ns)


def counts(folder: Path, interval_ns: int) -> dict[tuple[int, int], int]:
    """Samples that rollups stand for, by tag and interval."""
    store = EmbeddedStore.open(folder, mode="read")
    found = store.rollup(PATHS, START, START + 10 * DAY, interval_ns)
    store.close()
    starts = ((found.start_ns - START) // interval_ns).tolist()
    return dict(zip(zip(found.tag.tolist(), starts, strict=True), found.samples.tolist(), strict=True))


def no_room(*_: object) -> int:
    """In place of rolling up."""
    raise StoreFull("no space, for the test")


@pytest.mark.parametrize("stopped", [False, True])
@pytest.mark.parametrize("late", [3, 200])
def test_late_samples_for_a_day_that_has_gone_take_nothing_from_its_rollups(
    tmp_path: Path, late: int, stopped: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Few ones and more than the day had, of a tag that was there and of one that was not.

    Args:
        stopped: the first upkeep ends between sealing them and rolling them up.
    """
    store = EmbeddedStore.open(tmp_path)
    store.register(TAGS)
    keeper = Upkeep.open(tmp_path, "line 1", Keep(raw_ns=DAY))
    expected = {MINUTE_NS: dict[tuple[int, int], int](), HOUR_NS: dict[tuple[int, int], int]()}

    def send(tag: int, times: list[int], arrival_ns: int) -> None:
        store.append(frame(tag, times, arrival_ns))
        for interval_ns, known in expected.items():
            for time_ns in times:
                key = (tag, (time_ns - START) // interval_ns)
                known[key] = known.get(key, 0) + 1

    for hour in (1, 7, 26, 50, 80):
        at = START + hour * HOUR
        send(1, [at + k * MINUTE for k in range(40)], at + HOUR)
        keeper.step(at + 3 * HOUR)
    assert store.read(PATHS, START, START + DAY)[PATHS[0]].time_ns.tolist() == []
    for tag, hour in ((1, 9), (2, 7), (1, 27)):
        at = START + hour * HOUR
        send(tag, [at + k * MINUTE // 4 for k in range(late)], START + 84 * HOUR)
        if stopped:
            with monkeypatch.context() as patch, pytest.raises(StoreFull):
                patch.setattr(RollupWriter, "bring_up", no_room)
                keeper.step(START + 87 * HOUR)
        keeper.step(START + 87 * HOUR)
    keeper.close()
    store.close()
    for interval_ns, known in expected.items():
        assert counts(tmp_path, interval_ns) == known
