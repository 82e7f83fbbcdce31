"""A lasting fault is said once when it begins and once when it is over."""

from __future__ import annotations

import pytest

from collector.backoff import Backoff
from collector.trouble import Trouble
from historian import NS, MeltledgerError, StoredDataDamaged, StoreFull, StoreReadOnly


def trouble() -> Trouble:
    return Trouble("Samples cannot be stored", "store-trouble", "disk-back", Backoff(1.0, 10.0, jitter=0.0))


@pytest.mark.parametrize(
    ("error", "kind", "remedy"),
    [
        (StoreFull("/data/line/recent.db: the disk is full"), "disk-full", "free space"),
        (StoreReadOnly("/data/line/recent.db: read-only"), "disk-read-only", "mount"),
        (StoredDataDamaged("/data/line/recent.db: damaged"), "store-trouble", "Remedy"),
    ],
)
def test_says_what_where_and_the_remedy(error: MeltledgerError, kind: str, remedy: str) -> None:
    event = trouble().failed(error, 0, "They are kept in memory.")
    assert event is not None
    assert event.kind == kind
    assert "Samples cannot be stored" in event.text and "/data/line" in event.text and remedy in event.text


def test_is_said_once_and_tried_again_with_growing_waits() -> None:
    fault = trouble()
    assert fault.ready(0) and not fault.open
    assert fault.failed(StoreFull("x"), 0, "") is not None
    assert not fault.ready(NS - 1) and fault.ready(NS)
    assert fault.failed(StoreFull("x"), NS, "") is None
    assert not fault.ready(3 * NS - 1) and fault.ready(3 * NS)
    over = fault.over(42 * NS)
    assert (
        over is not None
        and over.kind == "disk-back"
        and "42 s" in over.text
        and over.data == {"held_s": 42.0}
    )
    assert fault.over(43 * NS) is None and fault.ready(43 * NS)


def test_a_clock_set_back_does_not_stop_the_tries() -> None:
    fault = trouble()
    fault.failed(StoreFull("x"), 10_000 * NS, "")
    assert fault.ready(0)
