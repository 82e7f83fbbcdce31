"""Batches whose items are alike are read at once: the same comes out as one by one."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.complaints import Complaints
from collector.json.reader import COMPLAINTS, JsonReader
from collector.json.shape import JsonShape
from historian.quality import BAD

NAMES = {"P1": 0, "P2": 1, "T1": 2, "T2": 3}
ARRIVAL = 1_800_000_000_000_000_000
IN_LIST = JsonShape("p", name="/n", each="/s", value="/v", time="/t", time_format="ms", quality="/q")
IN_OBJECT = JsonShape(
    "p", name="{key}", each="/s", value="/v", quality="/q", message_time="/t", time_format="ms"
)
PLAIN = JsonShape("p", name="{key}", each="/s", message_time="/t", time_format="ms")
OWN_GOOD = JsonShape(
    "p", name="/n", each="/s", value="/v", time="/t", time_format="ms", quality="/q", good=(192, "ok")
)
IN_ORDER = JsonShape("p", name="{key}", each="/s", names=("P1", "x", "T2"))

Sample = tuple[int, object, int, int]


def read(shape: JsonShape, bodies: list[Any], *, at_once: bool) -> tuple[list[Sample], dict[str, int], int]:
    """Samples, what was complained about, and how many had no time."""
    complaints = Complaints("plc", COMPLAINTS)
    reader = JsonReader([shape], NAMES, {2: {"RUN": 1.0}}, complaints)
    reader._shapes[0]._quick &= at_once
    for body in bodies:
        reader.read("p", json.dumps(body).encode(), ARRIVAL)
    found: list[Sample] = []
    for block in reader.take():
        times = block.time_ns if isinstance(block.time_ns, list) else [block.time_ns] * len(block)
        quality = block.quality if isinstance(block.quality, list) else [block.quality] * len(block)
        found += zip([int(a) for a in block.at], map(as_said, block.raw), times, quality, strict=True)
    # Which numbers are too large is looked at later, where many are looked at together.
    counts = {kind: n for kind, n in complaints._counts.items() if kind != "exact"}
    return found, counts, reader.unstamped


def as_said(raw: object) -> object:
    return float(raw) if isinstance(raw, int | float) else raw


values = st.one_of(
    st.floats(allow_nan=False, allow_infinity=False),
    st.integers(-(2**70), 2**70),
    st.sampled_from([None, True, "RUN", "71.3", [1], {"a": 1}]),
)
times = st.one_of(st.just(1_700_000_000_000), st.integers(-5, 2**70), st.sampled_from([None, "x", 1.5, []]))
qualities = st.one_of(st.just(0), st.sampled_from([192, 192.0, "ok", None, BAD, -1, [1]]))
names = st.sampled_from([*NAMES, "other", "", 7, None])


def items(**parts: st.SearchStrategy[Any]) -> st.SearchStrategy[dict[str, Any]]:
    """Objects that mostly have all parts."""
    whole = st.fixed_dictionaries(parts)
    return st.one_of(whole, whole, whole, whole.map(lambda d: dict(list(d.items())[:-1])))


entries = items(n=names, v=values, t=times, q=qualities)
bodies = {
    "in a list": (IN_LIST, st.fixed_dictionaries({"s": st.lists(st.one_of(entries, entries, entries, values), max_size=6)})),
    "with good ones of their own": (OWN_GOOD, st.fixed_dictionaries({"s": st.lists(entries, max_size=6)})),
    "in an object": (IN_OBJECT, st.fixed_dictionaries({"t": times, "s": st.dictionaries(st.sampled_from([*NAMES, "other"]), items(v=values, q=qualities))})),
    "plain": (PLAIN, st.fixed_dictionaries({"t": times, "s": st.dictionaries(st.sampled_from([*NAMES, "other"]), values)})),
    "in an order": (IN_ORDER, st.fixed_dictionaries({"s": st.lists(values, min_size=2, max_size=4)})),
}  # fmt: skip


@pytest.mark.parametrize("how", bodies)
@settings(max_examples=50, deadline=None)
@given(data=st.data())
def test_at_once_gives_what_one_by_one_gives(how: str, data: st.DataObject) -> None:
    shape, body = bodies[how]
    sent = data.draw(st.lists(body, min_size=1, max_size=3))
    assert read(shape, sent, at_once=True) == read(shape, sent, at_once=False)


@pytest.mark.parametrize("odd", [192.0, True])
def test_what_is_equal_in_python_but_not_in_json_is_told_apart(odd: object) -> None:
    """192 is a status code and 192.0 is none; true is no time."""
    quality = {"t": 1_700_000_000_000, "s": {"P1": {"v": 0.0, "q": 192}, "P2": {"v": 0.0, "q": odd}}}
    assert read(IN_OBJECT, [quality], at_once=True) == read(IN_OBJECT, [quality], at_once=False)
    times = {"s": [{"n": "P1", "v": 1, "t": 1, "q": 0}, {"n": "T1", "v": 3, "t": odd, "q": 0}]}
    assert read(IN_LIST, [times], at_once=True) == read(IN_LIST, [times], at_once=False)


def test_a_batch_of_different_times_and_qualities_is_read_at_once() -> None:
    body = {"s": [{"n": "P1", "v": 1, "t": 7, "q": 0}, {"n": "no", "v": 2, "t": 8, "q": 1}, {"n": "T1", "v": 3, "t": 9, "q": BAD}]}  # fmt: skip
    found, counts, unstamped = read(IN_LIST, [body], at_once=True)
    assert found == [(0, 1.0, 7_000_000, 0), (2, 3.0, 9_000_000, BAD)]
    assert counts == {"unknown": 1} and unstamped == 0


def test_numbers_make_an_array_and_a_text_among_them_does_not() -> None:
    complaints = Complaints("plc", COMPLAINTS)
    reader = JsonReader([PLAIN], NAMES, {}, complaints)
    for pressure in (2.5, "2.5"):
        reader.read("p", json.dumps({"t": 1, "s": {"P1": 1, "P2": pressure, "T1": True}}).encode(), ARRIVAL)
    first, second = reader.take()
    assert not isinstance(first.raw, list) and first.raw.tolist() == [1.0, 2.5, 1.0]
    assert second.raw == [1, "2.5", True] and complaints._counts == {"text": 1}
