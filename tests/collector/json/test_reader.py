"""Messages in all their shapes become samples; what cannot be kept is counted and disturbs nothing."""

from __future__ import annotations

import json
import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.complaints import Complaints
from collector.json.reader import COMPLAINTS, JsonReader
from collector.json.shape import JsonShape
from historian.quality import BAD

NAMES = {"P1": 0, "P2": 1, "T1": 2}
ARRIVAL = 1_800_000_000_000_000_000

Sample = tuple[int, object, int, int]


def reader_of(*shapes: JsonShape, codes: dict[int, dict[str, float]] | None = None) -> JsonReader:
    return JsonReader(shapes, NAMES, codes or {}, Complaints("plc", COMPLAINTS), largest_byte=100_000)


def samples(reader: JsonReader) -> list[Sample]:
    found: list[Sample] = []
    for block in reader.take():
        times = block.time_ns if isinstance(block.time_ns, list) else [block.time_ns] * len(block)
        quality = block.quality if isinstance(block.quality, list) else [block.quality] * len(block)
        found += zip([int(a) for a in block.at], block.raw, times, quality, strict=True)
    return found


def read(shape: JsonShape, topic: str, body: Any, *, arrival_ns: int | None = ARRIVAL) -> list[Sample]:
    reader = reader_of(shape)
    reader.read(topic, json.dumps(body).encode(), arrival_ns)
    found = samples(reader)
    assert not reader._complaints._counts, reader._complaints._counts
    return found


@pytest.mark.parametrize(
    ("shape", "topic", "body"),
    [
        (JsonShape("P1", time="/t", value="/v", time_format="ms"), "P1", {"v": 1.5, "t": 7}),
        (JsonShape("plant/+/pv", name="{1}", time="/t", value="/v", time_format="ms"), "plant/P1/pv", {"v": 1.5, "t": 7}),
        (JsonShape("p", name="/tag", value="/v/0", time="/at/ms", time_format="ms"), "p", {"tag": "P1", "v": [1.5], "at": {"ms": 7}}),
        (JsonShape("p", name="{key}", each="/values", message_time="/t", time_format="ms"), "p", {"t": 7, "values": {"P1": 1.5}}),
        (JsonShape("p", name="{key}", each="", value="/v", time="/t", time_format="ms"), "p", {"P1": {"v": 1.5, "t": 7}}),
        (JsonShape("p", name="/tag", each="", value="/v", time="/t", time_format="ms"), "p", [{"tag": "P1", "v": 1.5, "t": 7}]),
        (JsonShape("p", name="{key}", each="/a", names=("P1", "P2"), message_time="/t", time_format="ms"), "p", {"t": 7, "a": [1.5, 2.5]}),
        (JsonShape("+/b", name="{1}{key}", each="/a", message_time="/t", time_format="ms"), "P/b", {"t": 7, "a": {"1": 1.5}}),
    ],
)  # fmt: skip
def test_a_sample_is_found_wherever_it_stands(shape: JsonShape, topic: str, body: Any) -> None:
    assert read(shape, topic, body)[0] == (0, 1.5, 7_000_000, 0)


def test_a_batch_is_read_in_one_block_and_its_layout_may_change() -> None:
    reader = reader_of(JsonShape("p", name="{key}", each="/v", message_time="/t", time_format="ns"))
    for body in (
        {"t": 1, "v": {"P1": 1, "T1": 2.5}},
        {"t": 2, "v": {"P1": 3, "T1": 4.5}},
        {"t": 3, "v": {"T1": 5.5, "other": 9, "P1": None}},
    ):
        reader.read("p", json.dumps(body).encode(), ARRIVAL)
    blocks = reader.take()
    assert len(blocks) == 3 and blocks[0].at is blocks[1].at
    assert [(b.at.tolist(), list(b.raw), b.time_ns) for b in blocks] == [  # type: ignore[union-attr]
        ([0, 2], [1, 2.5], 1),
        ([0, 2], [3, 4.5], 2),
        ([2, 0], [5.5, None], 3),
    ]
    assert reader._complaints._counts == {"unknown": 1}


def test_without_a_time_it_is_that_of_arrival_and_counted() -> None:
    reader = reader_of(JsonShape("P1"))
    reader.read("P1", b"4.5", ARRIVAL)
    assert samples(reader) == [(0, 4.5, ARRIVAL, 0)]
    assert reader.unstamped == 1
    # Kept by the broker from some time before: nobody knows when it was true.
    reader.read("P1", b"4.5", None)
    assert samples(reader) == []


@pytest.mark.parametrize(
    ("said", "good", "quality"),
    [
        (0, (), 0),
        (0x40940000, (), 0x40940000),
        ("x", (), BAD),
        (-1, (), BAD),
        ("GOOD", ("GOOD",), 0),
        ("OLD", ("GOOD",), BAD),
        (192, (192,), 0),
        (True, (1,), BAD),
    ],
)
def test_a_quality_is_a_status_code_or_one_of_the_good_ones(said: Any, good: Any, quality: int) -> None:
    shape = JsonShape("P1", value="/v", quality="/q", good=good)
    assert read(shape, "P1", {"v": 1.0, "q": said})[0][3] == quality


def test_texts_are_codes_or_numbers_only_where_the_file_says_so() -> None:
    reader = reader_of(JsonShape("+", name="{1}"), codes={1: {"RUN": 1.0}})
    for topic, body in (("P2", b'"RUN"'), ("P2", b'"WALK"'), ("P1", b'"71.3"'), ("P1", b"true")):
        reader.read(topic, body, ARRIVAL)
    assert [raw for _, raw, _, _ in samples(reader)] == [1.0, "WALK", "71.3", True]
    assert reader._complaints._counts == {"text": 2}
    lenient = reader_of(JsonShape("+", name="{1}", numbers_as_text=True))
    for body in (b'"71.3"', b'"nan"', b'"1_0"', b'"-2e3"'):
        lenient.read("P1", body, ARRIVAL)
    assert [raw for _, raw, _, _ in samples(lenient)] == [71.3, "nan", "1_0", -2000.0]


@pytest.mark.parametrize(
    ("body", "kind"),
    [
        (b"{", "malformed"),
        (b"", "malformed"),
        (b"\xff\xfe", "malformed"),
        (b'{"v": NaN, "t": 7}', "malformed"),
        (b'{"v": 1' + b"0" * 400 + b', "t": 7}', "malformed"),
        (b"[" * 5000 + b"]" * 5000, "malformed"),
        (b"[]", "shape"),
        (b'{"t": 7}', "shape"),
        (b'{"v": 1, "t": "yesterday"}', "time"),
        (b'{"v": 1, "t": -5}', "time"),
        (b'{"v": 1, "t": 1e300}', "time"),
        (b'{"v": 1, "t": true}', "time"),
        (b'{"v": 18014398509481985, "t": 7}', "exact"),
        (b'"' + b"x" * 100_001 + b'"', "large"),
    ],
)
def test_what_cannot_be_kept_is_counted(body: bytes, kind: str) -> None:
    reader = reader_of(JsonShape("P1", value="/v", time="/t", time_format="ms"))
    reader.read("P1", body, ARRIVAL)
    assert list(reader._complaints._counts) == [kind]
    reader.read("elsewhere", b"1", ARRIVAL)
    reader.read("P1", b'{"v": 2, "t": 8}', ARRIVAL)
    assert samples(reader)[-1] == (0, 2, 8_000_000, 0)


ANYTHING = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=5),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(st.sampled_from(["P1", "v", "t", "q", "x"]), inner, max_size=4)
    ),
    max_leaves=12,
)
SHAPES = [
    JsonShape("#", name="P1", value="/v", time="/t", time_format="ms", quality="/q"),
    JsonShape("#", name="{key}", each="", value="/v", time="/t", time_format="iso"),
    JsonShape("#", name="/x", each="/v", value="/v"),
    JsonShape("#", name="{key}", each="/v", message_time="/t", time_format="s"),
    JsonShape("#", name="{key}", each="", names=("P1", "T1")),
]


@given(st.sampled_from(SHAPES), st.lists(ANYTHING, max_size=4))
@settings(deadline=None)
def test_whatever_comes_nothing_is_raised_and_every_sample_has_a_place_and_a_time(
    shape: JsonShape, bodies: list[Any]
) -> None:
    reader = reader_of(shape)
    for body in bodies:
        reader.read("a/b", json.dumps(body).encode(), ARRIVAL)
    for at, _, time_ns, quality in samples(reader):
        assert at in NAMES.values() and 0 <= time_ns < 2**62 and 0 <= quality < 2**32


@given(st.binary(max_size=60), st.integers(0, 40), st.integers(0, 255))
def test_a_spoiled_byte_disturbs_nothing_after_it(tail: bytes, place: int, byte: int) -> None:
    reader = reader_of(SHAPES[0])
    body = bytearray(b'{"v": 1.25, "t": 1700000000000, "q": 0}' + tail)
    body[min(place, len(body) - 1)] = byte
    reader.read("a", bytes(body), ARRIVAL)
    reader.read("a", b'{"v": 2.5, "t": 8}', ARRIVAL)
    last = samples(reader)[-1]
    assert last == (0, 2.5, 8_000_000, 0) and math.isfinite(2.5)


def test_what_is_remembered_of_topics_and_batches_has_an_end(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each of many topics brings a batch of other names, with one of ours among them."""
    monkeypatch.setattr("collector.json.reader._HELD_BYTE", 50_000)
    reader = reader_of(JsonShape("b/+", name="{key}", each=""))
    for n in range(200):
        reader.read(
            f"b/{n}", json.dumps({**{f"{n}/{k}": 0.0 for k in range(100)}, "P1": 1.0}).encode(), ARRIVAL
        )
        assert samples(reader) == [(0, 1.0, ARRIVAL, 0)]
    held = [name for topic in reader._topics.values() if topic is not None for name in topic.keys or ()]
    assert 0 < sum(len(str(name)) for name in held) < 50_000
