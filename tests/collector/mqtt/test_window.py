"""When a broker may be waiting for us: its window as the file says it, or as it shows."""

from __future__ import annotations

from collector.mqtt.json_source import _Unstored


def hear(unstored: _Unstored, count: int) -> None:
    unstored.mids.extend(range(count))


def store_all(unstored: _Unstored) -> None:
    unstored.handed += len(unstored.mids)
    unstored.mids = []
    unstored.stored = unstored.handed


def test_the_window_that_the_file_names_is_full_at_once() -> None:
    unstored = _Unstored(20)
    hear(unstored, 19)
    assert not unstored.is_full
    hear(unstored, 1)
    assert unstored.is_full
    hear(unstored, 1)  # it was larger after all
    assert not unstored.is_full


def test_a_smaller_window_shows_when_it_was_met_and_never_exceeded() -> None:
    unstored = _Unstored(1000)
    found = []
    for _ in range(4):
        hear(unstored, 20)
        unstored.pause()
        found.append(unstored.is_full)
        store_all(unstored)
    assert found == [False, False, True, True]
    hear(unstored, 30)
    unstored.pause()
    assert not unstored.is_full  # more came than was taken for the window


def test_a_few_messages_now_and_then_are_no_full_window() -> None:
    unstored = _Unstored(1000)
    for _ in range(10):
        hear(unstored, 5)
        unstored.pause()
        assert not unstored.is_full
        store_all(unstored)
