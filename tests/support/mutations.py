"""Spoils payloads that a machine could have sent: seeded, so that what fails once fails again."""

from __future__ import annotations

import random
from collections.abc import Callable
from typing import Final

_NUMBERS: Final = (
    b"NaN",
    b"-Infinity",
    b"1e999",
    b"-0",
    b"9" * 400,
    b"18446744073709551616",
    b"9007199254740993",
    b"1" + b"0" * 300,
    b"0x1F",
    b"1.7976931348623157e308",
    b'"71.3"',
    b'"\\u0000"',
    b'"\\ud800"',
    b'"' + b"text " * 2000 + b'"',
    b"null",
    b"true",
    b"[]",
    b"{}",
    b'{"v": {"v": 1}}',
)
_WHOLE: Final = (
    b"",
    b"null",
    b"[]",
    b"0",
    b'"',
    b"\x00" * 64,
    b"\xff\xfe\xfd",
    b"\xef\xbb\xbf{}",
    b"[" * 5_000,
    b"[" * 500 + b"]" * 500,
    b'{"v":' * 900 + b"1" + b"}" * 900,
    b"[" + b"1," * 20_000 + b"1]",
    b"<?xml version='1.0'?><v>1</v>",
    b"{" + b",".join(b'"k%d": %d' % (n, n) for n in range(2_000)) + b"}",
)


def _cut(real: bytes, chance: random.Random) -> bytes:
    return real[: chance.randrange(len(real))]


def _doubled(real: bytes, chance: random.Random) -> bytes:
    return real * chance.randint(2, 5)


def _flipped(real: bytes, chance: random.Random) -> bytes:
    spoilt = bytearray(real)
    for _ in range(chance.choice([1, 1, 1, 3, 20])):
        spoilt[chance.randrange(len(spoilt))] ^= 1 << chance.randrange(8)
    return bytes(spoilt)


def _shuffled(real: bytes, chance: random.Random) -> bytes:
    a, b = sorted(chance.randrange(len(real)) for _ in range(2))
    return real[:a] + real[a:b][::-1] + real[b:]


def _stuffed(real: bytes, chance: random.Random) -> bytes:
    at = chance.randrange(len(real))
    return real[:at] + chance.randbytes(chance.choice([1, 7, 300])) + real[at:]


def _numbered(real: bytes, chance: random.Random) -> bytes:
    """One of the numbers becomes something else."""
    starts = [n for n in range(1, len(real)) if real[n : n + 1].isdigit() and not _in_number(real[n - 1])]
    if not starts:
        return _stuffed(real, chance)
    start = stop = chance.choice(starts)
    while stop < len(real) and _in_number(real[stop]):
        stop += 1
    return real[:start] + chance.choice(_NUMBERS) + real[stop:]


def _in_number(octet: int) -> bool:
    return chr(octet) in "0123456789.eE+-"


def _something_else(real: bytes, chance: random.Random) -> bytes:
    return chance.choice(_WHOLE)


HOW: Final[tuple[Callable[[bytes, random.Random], bytes], ...]] = (
    _cut,
    _doubled,
    _flipped,
    _shuffled,
    _stuffed,
    _numbered,
    _numbered,
    _something_else,
)


def mutated(real: bytes, chance: random.Random) -> bytes:
    """A payload spoilt in one of many ways; now and then in two."""
    spoilt = chance.choice(HOW)(real, chance)
    return chance.choice(HOW)(spoilt, chance) if spoilt and chance.random() < 0.2 else spoilt
