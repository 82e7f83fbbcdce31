"""The list of rollups: whole or refused; it knows what is behind."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from historian.archive.manifest import DAY_NS, Level, Segment
from historian.errors import StoredDataDamaged, WrongInput
from historian.rollups.columns import HOUR_NS, MINUTE_NS
from historian.rollups.listed import RollupFile, RollupList, path_of, source_of, window_of


def segment(day: int, generation: int = 1) -> Segment:
    return Segment(Level.DAY, day * DAY_NS, (day + 1) * DAY_NS, generation, 1000, ())


def file(*sources: Segment, interval_ns: int = MINUTE_NS, generation: int = 1) -> RollupFile:
    start_ns, end_ns = window_of(sources[0].start_ns, interval_ns)
    path = path_of(start_ns, interval_ns, generation)
    return RollupFile(path, interval_ns, start_ns, end_ns, 9, "ab", 5, 50, tuple(map(source_of, sources)))


def test_the_list_comes_back_as_it_was_written() -> None:
    rollups = RollupList().changed([file(segment(3)), file(segment(3), segment(4), interval_ns=HOUR_NS)])
    assert RollupList.from_bytes(rollups.to_bytes(), where="x") == rollups


@given(st.data())
def test_one_changed_byte_is_noticed(data: st.DataObject) -> None:
    whole = RollupList().changed([file(segment(3))]).to_bytes()
    at = data.draw(st.integers(0, len(whole) - 1))
    other = data.draw(st.integers(0, 255).filter(lambda b: b != whole[at]))
    broken = whole[:at] + bytes([other]) + whole[at + 1 :]
    try:
        read = RollupList.from_bytes(broken, where="here")
    except (StoredDataDamaged, WrongInput) as error:
        assert "here" in str(error)
    else:
        assert read == RollupList.from_bytes(whole, where="here")


def test_a_newer_form_is_not_guessed_at() -> None:
    from historian.rollups import listed

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(listed, "VERSION", 2)
        newer = RollupList().to_bytes()
    with pytest.raises(WrongInput, match="newer meltledger"):
        RollupList.from_bytes(newer, where="x")


def test_a_segment_in_a_new_form_is_behind_until_it_is_rolled_up_again() -> None:
    old, new = segment(3), segment(3, generation=2)
    rollups = RollupList().changed([file(old)])
    assert rollups.behind([old], MINUTE_NS) == ()
    assert rollups.behind([old], HOUR_NS) == (old,)
    assert rollups.behind([new, segment(4)], MINUTE_NS) == (new, segment(4))
    again = rollups.changed([file(new, generation=2)])
    assert again.behind([new], MINUTE_NS) == ()
    assert again.retired == (file(old).path,) and len(again.files) == 1


@given(st.integers(0, 4_000 * DAY_NS), st.sampled_from([MINUTE_NS, HOUR_NS]))
def test_windows_hold_their_times_and_join_without_a_gap(time_ns: int, interval_ns: int) -> None:
    start_ns, end_ns = window_of(time_ns, interval_ns)
    assert start_ns <= time_ns < end_ns
    assert window_of(end_ns - 1, interval_ns) == (start_ns, end_ns)
    assert window_of(end_ns, interval_ns)[0] == end_ns
    if interval_ns == HOUR_NS:
        assert datetime.fromtimestamp(start_ns / 1e9, UTC).day == 1


def test_dropped_files_are_retired() -> None:
    rollups = RollupList().changed([file(segment(3)), file(segment(4))])
    after = rollups.changed([], drop=[file(segment(3))])
    assert after.files == (file(segment(4)),) and after.retired == (file(segment(3)).path,)
    assert after.generation == 2 and replace(after, generation=0) != rollups
