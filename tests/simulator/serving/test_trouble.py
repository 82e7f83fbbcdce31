"""A file of troubles, the order in which they are made, and the relay that makes connections misbehave."""

from __future__ import annotations

import asyncio
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest

from historian.errors import OutsideWorldAway, WrongInput
from historian.frame import NS
from historian.quality import GOOD
from simulator.published import Sample
from simulator.serving.lateness import SourceClock, part
from simulator.serving.trouble import (
    DEEDS,
    RELAYED,
    Trouble,
    check_troubles,
    load_troubles,
    make_when_due,
    needs_relay,
)
from simulator.serving.trouble_relay import TroubleRelay


def test_a_file_of_troubles_is_read_and_its_faults_are_told_together(tmp_path: Path) -> None:
    path = tmp_path / "trouble.toml"
    path.write_text(
        '[[trouble]]\nat_s = 5.0\ndo = "half-open"\nfor_s = 2.0\n'
        '[[trouble]]\nat_s = 9.0\ndo = "restart"\nnamespaces_before = 2\n'
    )
    assert load_troubles(path) == [
        Trouble(5.0, "half-open", for_s=2.0),
        Trouble(9.0, "restart", namespaces_before=2),
    ]
    path.write_text('[[trouble]]\nat_s = -1.0\ndo = "explode"\n')
    with pytest.raises(WrongInput, match=r"trouble\.0\.at_s.*; trouble\.0\.do"):
        load_troubles(path)
    path.write_text("[[")
    with pytest.raises(WrongInput, match="cannot be read as a file of troubles"):
        load_troubles(path)


def test_what_cannot_be_made_is_refused_with_what_can() -> None:
    troubles = [Trouble(1.0, "drop"), Trouble(2.0, "new certificate")]
    check_troubles(troubles, DEEDS, "a server")
    with pytest.raises(
        WrongInput, match="trouble 2: 'new certificate' cannot be done to a stone; it can drop"
    ):
        check_troubles(troubles, {"drop"}, "a stone")
    assert needs_relay(troubles) and not needs_relay(troubles[1:])
    assert set(DEEDS) - RELAYED == {"restart", "skew", "new certificate"}


async def test_troubles_come_in_order_when_they_are_due() -> None:
    made: list[tuple[str, float]] = []

    class Line:
        async def make(self, trouble: Trouble) -> None:
            made.append((trouble.do, time.monotonic() - begun_s))

    begun_s = time.monotonic()
    troubles = [Trouble(0.2, "drop"), Trouble(0.0, "skew"), Trouble(0.1, "restart")]
    await make_when_due(troubles, Line(), begun_s)
    assert [do for do, _ in made] == ["skew", "restart", "drop"]
    assert all(at_s >= due_s for (_, at_s), due_s in zip(made, [0.0, 0.1, 0.2], strict=True))
    assert made[-1][1] < 1.0


@asynccontextmanager
async def relayed() -> AsyncIterator[TroubleRelay]:
    """A relay in front of something that says again what it hears."""

    async def echo(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        while data := await reader.read(65_536):
            writer.write(data)
        writer.close()

    server = await asyncio.start_server(echo, "127.0.0.1", 0)
    target = server.sockets[0].getsockname()
    try:
        async with TroubleRelay.listening("127.0.0.1", 0, target[:2]) as relay:
            yield relay
    finally:
        server.close()
        await asyncio.sleep(0.05)


class Peer:
    """One connection through the relay."""

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.reader, self.writer = reader, writer

    @classmethod
    @asynccontextmanager
    async def of(cls, relay: TroubleRelay) -> AsyncIterator[Peer]:
        peer = cls(*await asyncio.open_connection(relay.host, relay.port))
        try:
            yield peer
        finally:
            peer.writer.transport.abort()
            await asyncio.sleep(0.02)

    async def ask(self, text: bytes, *, within_s: float = 2.0) -> bytes:
        """What comes back, and the time that it took."""
        self.writer.write(text)
        async with asyncio.timeout(within_s):
            return await self.reader.readexactly(len(text))


async def test_a_relay_passes_everything_on_in_both_directions() -> None:
    async with relayed() as relay, Peer.of(relay) as one, Peer.of(relay) as other:
        big = bytes(range(256)) * 20_000
        assert await one.ask(big, within_s=10.0) == big
        assert await other.ask(b"other") == b"other"


async def test_dropped_peers_are_cut_off_and_may_come_back() -> None:
    async with relayed() as relay:
        async with Peer.of(relay) as peer:
            assert await peer.ask(b"a") == b"a"
            await relay.make(Trouble(0.0, "drop"))
            with pytest.raises((ConnectionError, asyncio.IncompleteReadError)):
                await peer.ask(b"b")
        async with Peer.of(relay) as again:
            assert await again.ask(b"c") == b"c"


async def test_a_delay_makes_everything_later_for_its_time_and_keeps_the_order() -> None:
    async with relayed() as relay, Peer.of(relay) as peer:
        await relay.make(Trouble(0.0, "delay", for_s=0.6, by_s=0.15))
        begun_s = time.monotonic()
        peer.writer.write(b"1")
        await asyncio.sleep(0.05)
        peer.writer.write(b"2")
        assert await peer.reader.readexactly(2) == b"12"
        assert 0.3 <= time.monotonic() - begun_s < 0.6, "once on the way there and once on the way back"
        await asyncio.sleep(0.6)
        begun_s = time.monotonic()
        assert await peer.ask(b"3") == b"3"
        assert time.monotonic() - begun_s < 0.1


async def test_a_half_open_relay_accepts_and_says_nothing_until_it_is_over() -> None:
    async with relayed() as relay, Peer.of(relay) as before:
        await relay.make(Trouble(0.0, "half-open", for_s=0.5))
        async with Peer.of(relay) as meanwhile:
            for peer, text in ((before, b"old"), (meanwhile, b"new")):
                with pytest.raises(TimeoutError):
                    await peer.ask(text, within_s=0.1)
            # Nothing is lost: it was on its way all the time.
            async with asyncio.timeout(2.0):
                assert await before.reader.readexactly(3) == b"old"
                assert await meanwhile.reader.readexactly(3) == b"new"


async def test_a_relay_that_refuses_lets_nobody_in_until_it_is_over() -> None:
    async with relayed() as relay, Peer.of(relay) as peer:
        await relay.make(Trouble(0.0, "refuse", for_s=0.3))
        with pytest.raises((ConnectionError, asyncio.IncompleteReadError)):
            await peer.ask(b"a")
        with pytest.raises(ConnectionRefusedError):
            await asyncio.open_connection(relay.host, relay.port)
        await asyncio.sleep(0.4)
        async with Peer.of(relay) as again:
            assert await again.ask(b"b") == b"b"


async def test_a_relay_is_no_server_and_needs_a_place_to_listen() -> None:
    async with relayed() as relay:
        with pytest.raises(WrongInput, match="'skew' is nothing"):
            await relay.make(Trouble(0.0, "skew"))
        with pytest.raises(OutsideWorldAway, match="cannot listen there"):
            async with TroubleRelay.listening(relay.host, relay.port, ("127.0.0.1", 1)):
                pass


async def test_without_a_target_a_peer_is_cut_off() -> None:
    async with TroubleRelay.listening("127.0.0.1", 0, ("127.0.0.1", 1)) as relay, Peer.of(relay) as peer:
        with pytest.raises((ConnectionError, asyncio.IncompleteReadError)):
            await peer.ask(b"a")


def _sample(column: int, second: float) -> Sample:
    return Sample("a.b", column, round(second * 1000) * NS // 1000, 0.0, GOOD, True)


def test_only_what_a_newer_one_has_overtaken_by_seconds_is_late() -> None:
    held = [_sample(0, second) for second in range(5)]
    fast = [_sample(1, 4.0 + 0.2 * k) for k in range(5)]
    alone = [_sample(2, -3600.0)]
    assert part([*alone, *held, *fast]) == (held[:3], [*alone, *held[3:], *fast])
    assert part([]) == ([], [])


def test_a_clock_stamps_what_it_says() -> None:
    clock, samples = SourceClock(), [_sample(0, 5.0)]
    assert clock.stamped(samples) == samples
    clock.skew(120.0)
    clock.skew(-20.5)
    assert [s.time_ns for s in clock.stamped(samples)] == [samples[0].time_ns + 99_500_000_000]
