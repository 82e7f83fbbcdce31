"""Rows of recent.db hold their frames to the last bit, whichever form wrote them."""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from historian import NS, EmbeddedStore, Frame, StoredDataDamaged, Tag, WrongInput
from historian.embedded.rows import decode, encode
from historian.quality import BAD, GOOD

T = 1_800_000_000 * NS

OF_THE_FIRST_FORM = bytes.fromhex(
    "6d6c663137756f39020000000300000000e1a99976e2fa18000000000200000000ab44d576e2fa180300000001000000"
    "0100000002000000010000000000b49376e2fa180000b49376e2fa1800ca4ecf76e2fa180000000000e0514000000000"
    "0000f87f0000000000000080000000000000318000000000"
)
"""Written by the release before the second form: two frames, of tags 1 and 2 at T, of tag 1 a second later."""

SAMPLES = st.lists(
    st.tuples(
        st.integers(1, 4),
        st.integers(0, 5),
        st.floats(),
        st.sampled_from([GOOD, GOOD, GOOD, BAD]),
    ),
    max_size=12,
)


def same(found: Frame, kept: Frame) -> None:
    assert (found.arrival_ns, found.clock_epoch) == (kept.arrival_ns, kept.clock_epoch)
    for name in ("tag", "time_ns", "value", "quality"):
        column, wanted = getattr(found, name), getattr(kept, name)
        assert column.dtype == wanted.dtype and column.tobytes() == wanted.tobytes(), name


def scans(tags: int, times: int, *, second: int = 0) -> Frame:
    """So many samples of each tag, as a writer hands them over."""
    tag = np.repeat(np.arange(1, tags + 1), times)
    time_ns = np.tile(T + second * NS + np.arange(times) * 1_000_000, tags)
    value = np.random.default_rng(second).normal(size=tags * times)
    return Frame.of(tag, time_ns, value, np.zeros(len(tag)), arrival_ns=T + second * NS)


@settings(max_examples=80, deadline=None)
@given(st.lists(st.tuples(SAMPLES, st.integers(0, 3)), min_size=1, max_size=5))
def test_frames_come_back_to_the_last_bit(sent: list[tuple[list[tuple[Any, ...]], int]]) -> None:
    frames = [
        Frame.of(*(zip(*rows, strict=True) if rows else ([],) * 4), arrival_ns=T + n, clock_epoch=epoch)
        for n, (rows, epoch) in enumerate(sent)
    ]
    row = decode(encode(frames), 5, 4 + len(frames), where="x")
    found = list(row.frames())
    assert [n for n, _ in found] == list(range(5, 5 + len(frames)))
    for (_, back), kept in zip(found, frames, strict=True):
        same(back, kept)


@pytest.mark.parametrize(
    ("frames", "most_byte"),
    [
        ([scans(200, 1)], 8 + 4),  # one scan: its time once; the tags' numbers are all different
        ([scans(200, 50)], 8 + 0.5),  # many scans tag by tag: times and numbers once
        ([scans(200, 1, second=s) for s in range(60)], 8 + 0.5),  # a minute of scans in one row
    ],
)
def test_scans_take_little_more_than_their_values(frames: list[Frame], most_byte: float) -> None:
    samples = sum(map(len, frames))
    assert len(encode(frames)) <= samples * most_byte + 100 + 16 * len(frames)


def test_the_first_form_is_read() -> None:
    row = decode(OF_THE_FIRST_FORM, 7, 8, where="x")
    (first, one), (second, two) = row.frames()
    assert (first, second) == (7, 8)
    same(one, Frame.of([1, 2], [T, T], [71.5, np.nan], [0, 0x80310000], arrival_ns=T + NS // 10))
    same(two, Frame.of([1], [T + NS], [-0.0], [0], arrival_ns=T + NS + NS // 10, clock_epoch=3))


def test_a_store_of_the_release_before_goes_on(tmp_path: Path) -> None:
    paths = ("filter.inlet.pressure.pv", "filter.outlet.pressure.pv")
    store = EmbeddedStore.open(tmp_path)
    store.register([Tag(p, "bar") for p in paths])
    old = (2, 1, T, T + NS, T + NS, 3, OF_THE_FIRST_FORM)
    with sqlite3.connect(tmp_path / "recent.db") as db:
        db.execute("INSERT INTO rows VALUES (?,?,?,?,?,?,?)", old)
        db.execute("UPDATE meta SET value='2' WHERE key='schema'")
    db.close()
    store.close()
    store = EmbeddedStore.open(tmp_path)
    assert store.append(Frame.of([1], [T + 2 * NS], [73.5], [GOOD], arrival_ns=T + 2 * NS)) == 3
    assert store.read([paths[0]], 0, 2**62)[paths[0]].value.tolist() == [71.5, -0.0, 73.5]
    assert [n for n, _ in store.frames()] == [1, 2, 3]
    # A program that does not know the second form must not take its rows for damaged.
    assert store._recent._db.execute("SELECT value FROM meta WHERE key='schema'").fetchone() == ("3",)
    store.close()


def test_a_newer_schema_is_told(tmp_path: Path) -> None:
    EmbeddedStore.open(tmp_path).close()
    with sqlite3.connect(tmp_path / "recent.db") as db:
        db.execute("UPDATE meta SET value='4' WHERE key='schema'")
    db.close()
    with pytest.raises(WrongInput, match="newer meltledger"):
        EmbeddedStore.open(tmp_path)


@pytest.mark.parametrize("body", [encode([scans(3, 2)]), OF_THE_FIRST_FORM], ids=["second", "first"])
def test_every_changed_or_missing_byte_is_seen(body: bytes) -> None:
    decode(body, 1, 1, where="here")
    for at in range(len(body)):
        changed = bytearray(body)
        changed[at] ^= 0x01
        for damaged in (bytes(changed), body[:at], body + body[:1]):
            with pytest.raises(StoredDataDamaged, match="here"):
                decode(damaged, 1, 1, where="here")
