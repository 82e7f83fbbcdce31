"""Whether a store holds what its ledger says: no more, no less, sound on the disk."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from historian import EmbeddedStore, Frame
from historian.care.findings import Trouble
from historian.care.judge import judge
from historian.care.look import look
from historian.rollups.columns import HOUR_NS, MINUTE_NS
from tests.historian.durability.ledger import (
    ROW,
    UNCERTAIN,
    Ledger,
    Rows,
    in_two_epochs,
    last_of,
    row_of,
)
from tests.historian.durability.sent import DAY, NUMBERS, START, arrival_of, frame_of

PATHS = list(NUMBERS)
EVER = (START - 10 * DAY, START + 1_000 * DAY)
_HARMLESS = {Trouble.UNSEALED, Trouble.BEHIND, Trouble.HOLE, Trouble.LEFTOVER}


def check(folder: Path, ledger: Ledger, *, quick: bool = False) -> int:
    """Fail unless a store that nobody writes to holds exactly what was acknowledged.

    What was being appended when the life ended may be there as well, all or none of it.

    Args:
        quick: look at neither rollups nor the record of what was replaced.

    Returns:
        the number of the last frame that is there.
    """
    store = EmbeddedStore.open(folder, mode="read")
    try:
        upto = store.last_number()
        assert upto <= ledger.sent
        assert upto >= ledger.acked or ledger.may_lose, f"{upto} frames of {ledger.acked}"
        _check_samples(store, ledger, upto)
        _check_replay(store, ledger, upto)
        _check_latest(store, ledger, upto)
        if not quick:
            _check_modified(store, ledger, upto)
            _check_rollups(store, ledger, upto, HOUR_NS, -(2**62))
            _check_rollups(store, ledger, upto, MINUTE_NS, ledger.minutes_gone_before_ns)
    finally:
        store.close()
    check_disk(folder)
    return upto


def check_disk(folder: Path) -> None:
    """Fail unless lists, check sums and the database are sound."""
    wrong = [f for f in judge(look(folder)) if f.trouble not in _HARMLESS]
    assert not wrong, "\n".join(f"{f.trouble} {f.where}: {f.text}" for f in wrong)


def check_beside(found: Rows, ledger: Ledger, acked: int) -> None:
    """Fail unless a store that was being written to gave what was acknowledged before it was asked.

    Args:
        found: what it gave.
        ledger: as it stood after that.
        acked: the number that had been acknowledged last before.
    """
    sent, gone = ledger.sent, ledger.gone_before_ns
    found, expected = _from(found, gone), _from(ledger.expected(acked), gone)
    # What was being written may or may not be there; whoever shares its tag and time is left out.
    moving = ledger.history(sent)
    moving = np.unique(_keys(moving[moving["seq"] > acked]))
    _same(found[~np.isin(_keys(found), moving)], expected[~np.isin(_keys(expected), moving)])
    _check_sent(found, ledger, sent)


def read_of(store: EmbeddedStore) -> Rows:
    """Everything that a store gives, sorted."""
    read = store.read(PATHS, *EVER)
    parts = [row_of(NUMBERS[p], s.time_ns, s.value, s.quality) for p, s in read.items()]
    return np.sort(np.concatenate(parts))


def _from(rows: Rows, start_ns: int) -> Rows:
    return rows[rows["time_ns"] >= start_ns]


def _keys(rows: Rows) -> Rows:
    """Tag and time."""
    found = np.zeros(len(rows), dtype=[("tag", "<i8"), ("time_ns", "<i8")])
    found["tag"], found["time_ns"] = rows["tag"], rows["time_ns"]
    return found


def _same(found: Rows, expected: Rows) -> None:
    """Fail unless both hold the same, each as often."""
    found, expected = np.sort(found), np.sort(expected)
    if not np.array_equal(found, expected):
        missing, more = np.setdiff1d(expected, found), np.setdiff1d(found, expected)
        text = f"{len(found)} rows instead of {len(expected)}"
        raise AssertionError(f"{text}; missing {len(missing)}: {missing[:3]}; too many: {more[:3]}")


def _check_sent(found: Rows, ledger: Ledger, upto: int) -> None:
    """Fail when something was never sent; a good sample may have become uncertain."""
    history = ledger.history(upto)
    sent = np.zeros(len(history), dtype=ROW)
    for name in ROW.names or ():
        sent[name] = history[name]
    raised = sent[in_two_epochs(history) & (sent["quality"] >> 30 == 0)]
    raised["quality"] |= UNCERTAIN
    made_up = found[~np.isin(found, np.concatenate([sent, raised]))]
    assert not len(made_up), f"never sent: {made_up[:3]}"


def _check_samples(store: EmbeddedStore, ledger: Ledger, upto: int) -> None:
    gone, found = ledger.gone_before_ns, read_of(store)
    _same(_from(found, gone), _from(ledger.expected(upto), gone))
    old = found[found["time_ns"] < gone]
    _check_sent(old, ledger, upto)
    once, held = np.unique(_keys(old), return_counts=True)
    sent, owed = np.unique(_keys(ledger.expected(upto)), return_counts=True)
    twice = once[held > owed[np.searchsorted(sent, once)]]
    assert not len(twice), f"there twice: {twice[:3]}"


def _check_replay(store: EmbeddedStore, ledger: Ledger, upto: int) -> None:
    """The frames come in order and just as they were sent, but for samples that retention let go of."""
    last = 0
    for number, frame in store.frames():
        assert last < number <= upto, f"frame {number} comes after {last}"
        # Only a frame without samples leaves nothing behind when it is sealed.
        for left_out in range(last + 1, number):
            _check_gone(frame_of(ledger.seed, left_out), left_out, ledger)
        last = number
        sent = frame_of(ledger.seed, number)
        assert (frame.arrival_ns, frame.clock_epoch) == (sent.arrival_ns, sent.clock_epoch)
        found, owed = (row_of(f.tag, f.time_ns, f.value, f.quality) for f in (frame, sent))
        if len(found) < len(owed):
            gone = ledger.gone_before_ns
            _check_at_most(found, owed, f"frame {number}, sample")
            found, owed = _from(found, gone), _from(owed, gone)
        if not np.array_equal(found, owed):
            raise AssertionError(f"frame {number} was {_told(owed, found)}, is {_told(found, owed)}")
    for left_out in range(last + 1, upto + 1):
        _check_gone(frame_of(ledger.seed, left_out), left_out, ledger)


def _told(rows: Rows, other: Rows) -> str:
    """Where two frames differ, from the first row that does."""
    n = min(len(rows), len(other))
    first = int(np.append(np.flatnonzero(rows[:n] != other[:n]), n)[0])
    return f"{len(rows)} rows, at {first} {rows[first : first + 3].tolist()}"


def _check_gone(sent: Frame, number: int, ledger: Ledger) -> None:
    assert (sent.time_ns < ledger.gone_before_ns).all(), f"frame {number} is missing from the replay"


def _check_at_most(found: Rows, sent: Rows, what: str) -> None:
    """Fail when something was never sent, or comes more often than it was."""
    rows, often = np.unique(found, return_counts=True)
    known, sent_often = np.unique(sent, return_counts=True)
    made_up = rows[~np.isin(rows, known)]
    assert not len(made_up), f"{what}, but never sent: {made_up[:3]}"
    twice = rows[often > sent_often[np.searchsorted(known, rows)]]
    assert not len(twice), f"{what} too often: {twice[:3]}"


def _lowered(quality: NDArray[np.int64]) -> NDArray[np.int64]:
    return np.where(quality >> 30 == 1, quality & ~UNCERTAIN, quality)


def _repeated_later(history: Rows) -> NDArray[np.bool_]:
    """Which rows a later frame repeated with the same value and quality."""
    names = ("tag", "time_ns", "epoch", "bits", "quality")
    order = np.lexsort((np.arange(len(history)), *(history[n] for n in reversed(names))))
    same = np.ones(max(len(history) - 1, 0), dtype=np.bool_)
    for name in names:
        column = history[name][order]
        same &= column[1:] == column[:-1]
    found = np.zeros(len(history), dtype=np.bool_)
    found[order[:-1][same]] = True
    return found


def _check_modified(store: EmbeddedStore, ledger: Ledger, upto: int) -> None:
    """Every value that another one replaced is on record, once, with its own arrival."""
    history = ledger.history(upto)
    winner = np.flatnonzero(last_of(history))
    final = history[winner[np.searchsorted(winner, np.arange(len(history)))]]
    changed = (history["bits"] != final["bits"]) | (history["quality"] != final["quality"])
    parts = []
    for path, number in NUMBERS.items():
        told = store.modified(path, *EVER)
        rows = row_of(number, [m.time_ns for m in told], [m.value for m in told], [m.quality for m in told])
        parts.append((rows, np.array([m.arrival_ns for m in told], dtype=np.int64)))
    found = np.concatenate([rows for rows, _ in parts])
    arrival_ns = np.concatenate([arrivals for _, arrivals in parts])
    owed = changed & ~_repeated_later(history) & (history["time_ns"] >= ledger.gone_before_ns)
    sent = _with_arrival(history, arrival_of(history["seq"]))
    recorded = _with_arrival(found, arrival_ns)
    missing = sent[owed & ~np.isin(sent, recorded)]
    assert not len(missing), f"no record of what was replaced: {missing[:3]}"
    _check_at_most(recorded, sent, "on record")


def _with_arrival(rows: Rows, arrival_ns: NDArray[np.int64]) -> Rows:
    """Samples with their arrival, an uncertain quality taken for a good one."""
    found = np.zeros(len(rows), dtype=[*[(n, "<i8") for n in ROW.names or ()], ("arrival_ns", "<i8")])
    for name in ROW.names or ():
        found[name] = rows[name]
    found["quality"] = _lowered(found["quality"])
    found["arrival_ns"] = arrival_ns
    return found


def _check_latest(store: EmbeddedStore, ledger: Ledger, upto: int) -> None:
    expected = ledger.expected(upto)
    newest = {
        tag: int(expected["time_ns"][expected["tag"] == tag].max()) for tag in np.unique(expected["tag"])
    }
    latest = {NUMBERS[path]: sample.time_ns for path, sample in store.latest().items()}
    assert latest == newest


def _check_rollups(store: EmbeddedStore, ledger: Ledger, upto: int, interval_ns: int, from_ns: int) -> None:
    """Every sample that was ever kept stands in its interval, retention or not."""
    expected = ledger.expected(upto)
    expected = expected[expected["time_ns"] >= from_ns]
    if not len(expected):
        return
    end_ns = int(expected["time_ns"].max()) // interval_ns * interval_ns + interval_ns
    found = store.rollup(PATHS, max(START, from_ns), end_ns, interval_ns)
    bad = (expected["quality"] >> 31 != 0) | np.isnan(expected["bits"].view(np.float64))
    wanted = np.zeros(len(expected), dtype=[("tag", "<i8"), ("start_ns", "<i8")])
    wanted["tag"] = expected["tag"]
    wanted["start_ns"] = expected["time_ns"] // interval_ns * interval_ns
    keys, place, samples = np.unique(wanted, return_inverse=True, return_counts=True)
    columns: list[tuple[str, NDArray[Any], NDArray[Any]]] = [
        ("tag", found.tag, keys["tag"]),
        ("start_ns", found.start_ns, keys["start_ns"]),
        ("samples", found.samples, samples),
        ("bad", found.bad, np.bincount(place, bad, len(keys)).astype(np.int64)),
    ]
    for name, told, owed in columns:
        np.testing.assert_array_equal(told, owed, err_msg=f"rollups of {interval_ns} ns: {name}")
