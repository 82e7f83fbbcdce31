"""The manifest: what was written is read, what was tampered with is not, windows never overlap."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from historian import StoredDataDamaged, WrongInput
from historian.archive.manifest import (
    DAY_NS,
    HOUR_NS,
    FileEntry,
    Kind,
    Level,
    Manifest,
    Segment,
    checksum_of,
    window_of,
)

_TEXT = st.text(max_size=12)
_NUMBER = st.integers(-(2**62), 2**62)
_ENTRIES = st.builds(
    FileEntry,
    _TEXT,
    st.sampled_from(Kind),
    *([_NUMBER]),
    _TEXT,
    *([_NUMBER] * 6),
    st.lists(st.integers(1, 300)).map(tuple),
)


def _hour(k: int, generation: int = 1) -> Segment:
    entry = FileEntry(f"h{k}-{generation}", Kind.LONG, 1, "x", 1, 1, k, k, 1, 1, (1,))
    return Segment(Level.HOUR, k * HOUR_NS, (k + 1) * HOUR_NS, generation, 1, (entry,))


def _day(k: int) -> Segment:
    return Segment(Level.DAY, k * DAY_NS, (k + 1) * DAY_NS, 1, 1, ())


@given(
    _TEXT, st.lists(st.tuples(st.integers(-99, 99), st.lists(_ENTRIES, max_size=3)), unique_by=lambda t: t[0])
)
def test_a_manifest_comes_back_as_it_was(line: str, hours: list[tuple[int, list[FileEntry]]]) -> None:
    segments = [
        Segment(Level.HOUR, k * HOUR_NS, (k + 1) * HOUR_NS, 3, len(files), tuple(files)) for k, files in hours
    ]
    manifest = Manifest(line).changed(segments, sealed_seq=7)
    assert Manifest.from_bytes(manifest.to_bytes(), where="here") == manifest


@given(st.data())
def test_any_changed_byte_is_found(data: st.DataObject) -> None:
    body = bytearray(Manifest("line").changed([_hour(0), _hour(1)], sealed_seq=9).to_bytes())
    at = data.draw(st.integers(0, len(body) - 1))
    body[at] ^= data.draw(st.integers(1, 255))
    with pytest.raises(StoredDataDamaged, match="here"):
        Manifest.from_bytes(bytes(body), where="here")


@given(st.integers(0, 300))
def test_a_torn_manifest_is_found(length: int) -> None:
    body = Manifest("line").changed([_hour(0), _hour(1)]).to_bytes()
    with pytest.raises(StoredDataDamaged):
        Manifest.from_bytes(body[:length], where="here")


def test_a_newer_format_is_told_from_damage() -> None:
    body = json.loads(Manifest("line").to_bytes())
    del body["checksum"]
    body["version"] = 2
    body["checksum"] = checksum_of(body)
    with pytest.raises(WrongInput, match="newer"):
        Manifest.from_bytes(json.dumps(body).encode(), where="here")


def test_a_day_takes_the_place_of_its_hours_which_are_retired() -> None:
    hours = Manifest("line").changed([_hour(k) for k in (0, 5, 23, 24)])
    after = hours.changed([_day(0)])
    assert [(s.level, s.start_ns) for s in after.segments] == [(Level.DAY, 0), (Level.HOUR, DAY_NS)]
    assert after.retired == ("h0-1", "h23-1", "h5-1")
    assert after.generation == hours.generation + 1
    assert after.changed([]).retired == ()


def test_a_segment_that_would_overlap_is_refused() -> None:
    with pytest.raises(WrongInput, match="overlap"):
        Manifest("line").changed([_day(0)]).changed([_hour(3)])


def test_the_sealed_number_never_falls() -> None:
    assert Manifest("line").changed([], sealed_seq=9).changed([], sealed_seq=4).sealed_seq == 9


def test_between_gives_what_meets_the_window() -> None:
    manifest = Manifest("line").changed([_hour(k) for k in range(4)])
    assert [s.start_ns // HOUR_NS for s in manifest.between(HOUR_NS, 2 * HOUR_NS)] == [1]
    assert [s.start_ns // HOUR_NS for s in manifest.between(HOUR_NS - 1, 2 * HOUR_NS + 1)] == [0, 1, 2]


@given(_NUMBER, st.sampled_from(Level))
def test_a_time_lies_in_its_window(time_ns: int, level: Level) -> None:
    start, end = window_of(time_ns, level)
    assert start <= time_ns < end and end - start == level.span_ns and start % level.span_ns == 0
