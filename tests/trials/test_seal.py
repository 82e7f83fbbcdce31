"""A seal tells what was changed since, and nothing but that."""

from __future__ import annotations

import hashlib
import struct
from dataclasses import replace
from itertools import pairwise

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from historian.frame import Series
from trials.record import Entry, What
from trials.seal import Seal, TagSeal, differences, sealed, tag_seal

TRIAL = {"name": "film", "start_ns": 10, "end_ns": 90}
ENTRIES = [Entry(n, 1, What.NOTE, 10 * n, 10 * n, "ada", {"text": f"note {n}"}) for n in (1, 2, 3)]
PATH = "filter.inlet.pressure.pv"


def _series(n: int, seed: int = 1) -> Series:
    chance = np.random.default_rng(seed)
    return Series.of(np.arange(n) * 1_000_000_007, chance.normal(60, 3, n), np.zeros(n))


def _cut(series: Series, at: list[int]) -> list[Series]:
    edges = [0, *sorted(min(a, len(series)) for a in at), len(series)]
    return [Series(series.time_ns[a:b], series.value[a:b], series.quality[a:b]) for a, b in pairwise(edges)]


def test_the_bytes_are_those_that_are_written_down() -> None:
    """By the words of the module, with Python's own packing."""
    series = Series.of([5, 6], [1.5, float("nan")], [0, 0x80000000])
    expected = hashlib.sha256(
        PATH.encode() + b"\0bar\0"
        + struct.pack("<2q", 5, 6) + struct.pack("<d", 1.5) + bytes.fromhex("000000000000f87f")
        + struct.pack("<2I", 0, 0x80000000)
    )  # fmt: skip
    assert tag_seal(PATH, "bar", [series]) == TagSeal(2, expected.hexdigest())


@settings(max_examples=15, deadline=None)
@given(st.lists(st.integers(0, 150_000), max_size=6))
def test_it_does_not_matter_how_samples_are_cut(at: list[int]) -> None:
    series = _series(150_000)
    assert tag_seal(PATH, "bar", _cut(series, at)) == tag_seal(PATH, "bar", [series])


def test_every_nan_is_one_and_zero_has_no_sign() -> None:
    odd = np.array([0x7FF8000000000001, 0xFFF8000000000000, 0x8000000000000000], np.uint64).view(np.float64)
    plain = np.array([np.nan, np.nan, 0.0])
    a, b = (tag_seal(PATH, "bar", [Series.of([1, 2, 3], v, 0)]) for v in (odd, plain))
    assert a == b


def _seal(samples: int = 50, entries: list[Entry] = ENTRIES, upto: int | None = None, seed: int = 1) -> Seal:
    return sealed(TRIAL, entries, {PATH: tag_seal(PATH, "bar", [_series(samples, seed)])}, upto=upto)


def test_what_is_as_it_was_is_told_so_also_after_a_trip_through_the_record() -> None:
    seal = _seal()
    assert differences(Seal.from_json(seal.to_json()), _seal()) == []
    assert Seal.from_json(seal.to_json()).sha256 == seal.sha256


def test_addenda_do_not_break_the_seal_but_changes_do() -> None:
    seal = _seal()
    more = [*ENTRIES, Entry(4, 1, What.NOTE, 99, 99, "ben", {"text": "later"}, None, True)]
    assert differences(seal, _seal(entries=more, upto=seal.upto)) == []
    forged = [replace(ENTRIES[0], data={"text": "note 1 as I like it"}), *ENTRIES[1:]]
    (told,) = differences(seal, _seal(entries=forged, upto=seal.upto))
    assert "record" in told
    (fewer,) = differences(seal, _seal(entries=ENTRIES[:2], upto=seal.upto))
    assert "record" in fewer


def test_samples_that_came_went_or_changed_are_named_by_their_tag() -> None:
    seal = _seal()
    assert differences(seal, _seal(52)) == [f"{PATH}: 2 samples came after the seal."]
    assert differences(seal, _seal(49)) == [f"{PATH}: 1 samples are missing."]
    (told,) = differences(seal, _seal(seed=2))
    assert told.startswith(f"{PATH}: as many samples")
    assert _seal(52).sha256 != seal.sha256
