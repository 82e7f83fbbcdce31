"""From bytes to columns: two ways that must agree, every type, and what is no message."""

from __future__ import annotations

import gzip
import random
import zlib

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.sparkplug.decode import Decoder, Malformed
from collector.sparkplug.metrics import NO_ALIAS, NO_TIME, Heard, numbers, qualities_of
from collector.sparkplug.types import DataType, Kind
from historian.quality import BAD, GOOD, LAST_USABLE, UNCERTAIN
from tests.support.sparkplug_peer import (
    BOOLEAN,
    BYTES,
    DOUBLE,
    FLOAT,
    INT,
    LONG,
    STRING,
    M,
    octets,
    payload,
    whole,
)

MS = 1_790_000_000_000


def generally(body: bytes) -> Heard:
    """As a decoder reads it that has never seen another one."""
    return Decoder().decode(body)


def assert_same(one: Heard, other: Heard) -> None:
    assert (one.time_ms, one.seq) == (other.time_ms, other.seq)
    a, b = one.metrics, other.metrics
    for name in ("alias", "time_ms", "kind", "whole", "number", "datatype", "null", "historical", "quality"):
        column, expected = getattr(a, name), getattr(b, name)
        assert column.dtype == expected.dtype, name
        np.testing.assert_array_equal(column, expected, name)
    assert (a.name, a.text, a.unit, a.odd) == (b.name, b.text, b.unit, b.odd)


def value_of(kind: int, said: float | int | str, datatype: int) -> float | None:
    heard = generally(payload(M(alias=1, value=(kind, said))))
    value, wrong = numbers(heard.metrics, np.array([0]), np.array([datatype], np.uint8))
    return None if wrong[0] else float(value[0])


def test_a_message_is_read_as_it_was_written() -> None:
    heard = generally(
        payload(
            M("a", 0, MS, DataType.DOUBLE, (DOUBLE, 1.5)),
            M(alias=7, value=(INT, 5), historical=True),
            M("word", ms=0, value=(STRING, "ok")),
            M(alias=2**64 - 2, null=True, properties={"Quality": 0, "engUnit": "bar"}),
            ms=MS,
            seq=255,
        )
    )
    m = heard.metrics
    assert (heard.time_ms, heard.seq) == (MS, 255)
    assert m.alias.tolist() == [0, 7, NO_ALIAS, 2**64 - 2]
    assert m.time_ms.tolist() == [MS, NO_TIME, 0, NO_TIME]
    assert m.kind.tolist() == [Kind.DOUBLE, Kind.INT, Kind.STRING, Kind.NONE]
    assert (m.number[0], m.whole[1], m.text) == (1.5, 5, {2: "ok"})
    assert (m.name, m.unit) == ({0: "a", 2: "word"}, {3: "bar"})
    assert m.null.tolist() == [False, False, False, True]
    assert m.historical.tolist() == [False, True, False, False]
    assert m.quality.tolist() == [GOOD, GOOD, GOOD, BAD]


@pytest.mark.parametrize(
    ("kind", "said", "datatype", "value"),
    [
        (INT, 0xFF, DataType.INT8, -1),
        (INT, 0xFFFF_FF80, DataType.INT8, -128),
        (INT, 127, DataType.INT8, 127),
        (INT, 300, DataType.INT8, None),
        (INT, 0xFFFF_FF01, DataType.INT8, None),
        (INT, 0x8000, DataType.INT16, -32768),
        (INT, 2**32 - 7, DataType.INT32, -7),
        (LONG, 2**64 - 7, DataType.INT32, -7),
        (LONG, 2**63, DataType.INT64, -(2.0**63)),
        (INT, 255, DataType.UINT8, 255),
        (INT, 256, DataType.UINT8, None),
        (INT, 65535, DataType.UINT16, 65535),
        (LONG, 2**32 - 1, DataType.UINT32, 2.0**32 - 1),
        (LONG, 2**64 - 1, DataType.UINT64, 2.0**64),
        (FLOAT, 0.5, DataType.FLOAT, 0.5),
        (DOUBLE, 0.5, DataType.FLOAT, 0.5),
        (BOOLEAN, 1, DataType.BOOLEAN, 1),
        (LONG, MS, DataType.DATETIME, float(MS)),
        (INT, 5, DataType.DOUBLE, None),
        (DOUBLE, 5.0, DataType.INT32, None),
        (BOOLEAN, 1, DataType.INT32, None),
        (STRING, "5", DataType.INT32, None),
        (INT, 5, DataType.BOOLEAN, None),
        (DOUBLE, 5.0, DataType.UNKNOWN, 5.0),
        (INT, 5, DataType.UNKNOWN, None),
    ],
)
def test_types(kind: int, said: float | int | str, datatype: DataType, value: float | None) -> None:
    assert value_of(kind, said, datatype) == value


@given(st.integers(-(2**63), 2**63 - 1), st.sampled_from([8, 16, 32, 64]), st.booleans())
def test_integers_of_every_width(number: int, bits: int, of_the_field: bool) -> None:
    signed = {8: DataType.INT8, 16: DataType.INT16, 32: DataType.INT32, 64: DataType.INT64}[bits]
    number >>= 64 - bits
    width = (64 if bits == 64 else 32) if of_the_field else bits
    assert value_of(LONG if bits == 64 else INT, number % 2**width, signed) == float(number)


def test_qualities() -> None:
    assert qualities_of({}) == (GOOD, True)
    assert qualities_of({"Quality": 500}) == (LAST_USABLE, True)
    assert qualities_of({"Quality": 64}) == (UNCERTAIN, False)
    assert qualities_of({"Quality": 0, "StatusCode": 0x808C_0000}) == (0x808C_0000, True)
    # One that says otherwise is not believed.
    assert qualities_of({"Quality": 192, "StatusCode": 0x808C_0000}) == (GOOD, True)


def messages(draw: st.DrawFn, *, like: random.Random) -> list[M]:
    n = draw(st.integers(8, 30))
    return [draw(metrics(k, like)) for k in range(n)]


@st.composite
def metrics(draw: st.DrawFn, k: int, like: random.Random) -> M:
    """A metric whose structure follows from the second argument only, and whose content is drawn."""
    kind = like.choice([DOUBLE, DOUBLE, FLOAT, BOOLEAN, INT, LONG, None, STRING, BYTES])
    value: tuple[int, float | int | str | bytes] | None = None
    if kind in (DOUBLE, FLOAT):
        value = (kind, draw(st.floats(width=32)))
    elif kind is not None:
        drawn = {
            BOOLEAN: st.integers(0, 1),
            INT: st.integers(0, 2**32 - 1),
            LONG: st.integers(0, 2**64 - 1),
            STRING: st.text(max_size=3),
            BYTES: st.binary(max_size=3),
        }
        value = (kind, draw(drawn[kind]))
    return M(
        f"n{k}" if like.random() < 0.1 else None,
        like.choice([k, k, 1000 + k, None]),
        draw(st.integers(0, 2**44)) if like.random() < 0.9 else None,
        like.choice([None, 10, 3]),
        value,
        historical=like.random() < 0.1,
        null=like.random() < 0.1,
        properties={"Quality": like.choice([0, 192, 7])} if like.random() < 0.2 else {},
    )


@given(st.data(), st.integers(0, 2**32))
@settings(deadline=None, max_examples=50)
def test_both_ways_read_the_same(data: st.DataObject, structure: int) -> None:
    decoder = Decoder()
    for _ in range(3):
        drawn = data.draw(st.composite(messages)(like=random.Random(structure)))
        body = payload(*drawn, ms=data.draw(st.integers(0, 2**45)), seq=data.draw(st.integers(0, 255)))
        heard = decoder.decode(body)
        assert_same(heard, generally(body))
        assert_same(decoder.decode(body), heard)


def alike(k: int) -> bytes:
    ms = MS + k
    return payload(*(M(alias=a, ms=ms, value=(DOUBLE, a + k / 8)) for a in range(20)), ms=ms, seq=k % 100)


@pytest.mark.parametrize("long", [False, pytest.param(True, marks=pytest.mark.long)])
def test_damage_is_read_the_same_both_ways_or_is_no_message(long: bool) -> None:
    rng = random.Random(5)
    decoder = Decoder()
    decoder.decode(alike(0))
    for _ in range(10_000 if long else 500):
        body = bytearray(alike(rng.randrange(100)))
        for _ in range(rng.randrange(1, 4)):
            place = rng.randrange(len(body))
            match rng.randrange(4):
                case 0:
                    body[place] = rng.randrange(256)
                case 1:
                    body[place] ^= 1 << rng.randrange(8)
                case 2:
                    del body[place:]
                    body = body or bytearray(b"\0")
                case _:
                    body[place:place] = rng.randbytes(rng.randrange(5))
        damaged = bytes(body)
        try:
            heard = decoder.decode(damaged)
        except Malformed:
            with pytest.raises(Malformed):
                generally(damaged)
        else:
            assert_same(heard, generally(damaged))


@given(st.binary(max_size=300))
def test_garbage_is_read_or_is_malformed(body: bytes) -> None:
    try:
        heard = generally(body)
    except Malformed:
        return
    assert len(heard.metrics.alias) == len(heard.metrics.kind)


def test_patterns_are_used_and_do_not_leak_into_each_other() -> None:
    decoder = Decoder()
    kept = [decoder.decode(alike(k)) for k in range(100)]
    # Read later than the others, the first is still what it was.
    for k, heard in enumerate(kept):
        assert_same(heard, generally(alike(k)))
    # All but the first share what does not change, which only a pattern does.
    assert kept[1].metrics.alias is kept[2].metrics.alias


def test_a_pattern_of_many_kinds_does_not_leak_either() -> None:
    def mixed(k: int) -> bytes:
        kinds = [(DOUBLE, k / 2), (FLOAT, k / 4), (INT, 100 + k), (BOOLEAN, k % 2), (LONG, 2**40 + k)] * 3
        return payload(*(M(alias=a, ms=MS + k, value=v) for a, v in enumerate(kinds)), ms=MS + k, seq=k)

    decoder = Decoder()
    kept = [decoder.decode(mixed(k)) for k in range(20)]
    assert kept[1].metrics.alias is kept[2].metrics.alias
    for k, heard in enumerate(kept):
        assert_same(heard, generally(mixed(k)))


@pytest.mark.parametrize("sent", [1, 2])
def test_of_a_field_that_comes_twice_the_last_counts_both_ways(sent: int) -> None:
    def doubled(k: int) -> bytes:
        metric = whole(2, 1) + whole(3, MS + k) + whole(3, MS + 2 * k)
        # As many times in all as there are metrics.
        return (octets(2, metric) + octets(2, whole(2, 2))) * 10 + (whole(1, MS) + whole(1, MS + k))[
            -7 * sent :
        ]

    decoder = Decoder()
    for k in range(20):
        heard = decoder.decode(doubled(k))
        assert heard.time_ms == MS + k
        assert heard.metrics.time_ms.tolist() == [MS + 2 * k, NO_TIME] * 10


@pytest.mark.parametrize("pack", [zlib.compress, gzip.compress], ids=["zlib", "gzip"])
def test_compressed(pack: object) -> None:
    inner = payload(M(alias=1, value=(DOUBLE, 2.0)), ms=MS)
    packed = pack(inner)  # type: ignore[operator]
    heard = generally(
        payload(M("algorithm", value=(STRING, "x")), seq=9, uuid="SPBV1.0_COMPRESSED", body=packed)
    )
    assert (heard.time_ms, heard.seq, heard.metrics.number.tolist()) == (MS, 9, [2.0])


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (zlib.compress(bytes(5_000_000)), "more than"),
        (b"not packed", "cannot be read"),
        (zlib.compress(payload(M(alias=1)))[:-3], "cut off"),
        (zlib.compress(payload(uuid="SPBV1.0_COMPRESSED", body=b"x")), "more than once"),
    ],
)
def test_what_is_compressed_is_not_believed(body: bytes, words: str) -> None:
    with pytest.raises(Malformed, match=words):
        generally(payload(uuid="SPBV1.0_COMPRESSED", body=body))


def test_too_much() -> None:
    with pytest.raises(Malformed, match="41943040 bytes"):
        generally(bytes(40 * 2**20))
    with pytest.raises(Malformed, match="metrics, more than"):
        generally(octets(2, b"") * 60_000)


def test_times_beyond_the_end_of_time_are_none() -> None:
    heard = generally(payload(M(alias=1, ms=2**63), M(alias=1, ms=2**44 - 1), ms=2**64 - 1))
    assert heard.time_ms == NO_TIME
    assert heard.metrics.time_ms.tolist()[0] == NO_TIME
    # Longest time that nanoseconds can hold: the year 2262.
    assert generally(whole(1, 9_223_372_036_854)).time_ms == 9_223_372_036_854
    assert generally(whole(1, 9_223_372_036_855)).time_ms == NO_TIME
