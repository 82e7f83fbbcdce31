"""Reading ahead: the same bytes in the same order, whatever the pieces, and nothing is waited for in vain."""

from __future__ import annotations

import socket
from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.mqtt.ahead import AHEAD_BYTE, ReadsAhead


@pytest.fixture
def ends() -> Iterator[tuple[socket.socket, ReadsAhead]]:
    there, here = socket.socketpair()
    with there:
        ahead = ReadsAhead(here)
        ahead.setblocking(False)
        yield there, ahead
        ahead.close()


@given(
    sent=st.lists(st.binary(min_size=1, max_size=300), max_size=12),
    sizes=st.lists(st.integers(1, 400), min_size=1),
)
def test_the_bytes_come_out_as_they_went_in(sent: list[bytes], sizes: list[int]) -> None:
    there, here = socket.socketpair()
    with there:
        ahead = ReadsAhead(here)
        for piece in sent:
            there.sendall(piece)
        there.shutdown(socket.SHUT_WR)
        got, turn = bytearray(), 0
        while piece := ahead.recv(sizes[turn % len(sizes)]):
            assert len(piece) <= sizes[turn % len(sizes)]
            got, turn = got + piece, turn + 1
        assert bytes(got) == b"".join(sent)
        ahead.close()


def test_what_was_read_ahead_is_pending_and_needs_no_network(ends: tuple[socket.socket, ReadsAhead]) -> None:
    there, ahead = ends
    there.sendall(b"abcdef")
    assert ahead.pending() == 0
    assert (ahead.recv(1), ahead.pending()) == (b"a", 5)
    there.close()
    assert (ahead.recv(2), ahead.recv(9), ahead.pending()) == (b"bc", b"def", 0)
    assert ahead.recv(1) == b""  # only now the end is seen


def test_nothing_there_is_said_as_the_socket_says_it_and_loses_nothing(
    ends: tuple[socket.socket, ReadsAhead],
) -> None:
    there, ahead = ends
    with pytest.raises(BlockingIOError):
        ahead.recv(1)
    there.sendall(b"xy")
    assert ahead.recv(1) == b"x"
    assert ahead.recv(5) == b"y"
    with pytest.raises(BlockingIOError):
        ahead.recv(5)


def test_a_read_longer_than_the_room_goes_straight_to_the_socket(
    ends: tuple[socket.socket, ReadsAhead],
) -> None:
    there, ahead = ends
    there.sendall(b"h" + b"z" * 5_000)
    assert ahead.recv(1) == b"h"
    assert ahead.recv(AHEAD_BYTE) == b"z" * 5_000
    there.sendall(b"q" * 5_000)
    assert ahead.recv(AHEAD_BYTE * 2) == b"q" * 5_000
    assert ahead.pending() == 0
