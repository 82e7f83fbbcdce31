"""OPC UA from the server to the disk, beside a bare subscription whose handler does nothing.

The server is a process of its own, and so is each client; what is compared is a client's processor time for
each value that came, in a stretch after it has settled. Whether the server kept its pace, and whether each
node's counter is whole in the store, is checked in every run.
"""

from __future__ import annotations

import asyncio
import json
import logging
import shutil
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from asyncua import Client, ua

from benchmarks.figure import ROUNDS, Figure
from benchmarks.opcua_server import SECURED, URI
from collector import Inbox, Roster, SourceMapping, TagMapping, WallClock, Writer, collect, tags_of
from collector.opcua.access import OPEN, Access
from collector.opcua.certificate import read_certificates
from collector.opcua.items import Asking, Sampling
from collector.opcua.own import own_files
from collector.opcua.security import Security
from collector.opcua.source import OpcUaSource
from collector.opcua.trust import TrustFolder
from historian.embedded.store import EmbeddedStore
from historian.frame import Frame

BARE_BAR: Final = 1 / 0.8
"""Ours, to the disk, may take 0.8 times the processor time of the bare handler."""

SECURED_BAR: Final = 1 / 1.1
"""Of ours without security; or of what ours may take by the bar above: signing and encrypting cost what they
cost, however little there is beside it."""

SHARE: Final = 0.12
"""Of one core, for 5,000 tags once a second."""

_SETTLE_S: Final = 2.0
_LONGEST_S: Final = 60.0
_PACE: Final = 0.02  # how far off the server's rate may be


@dataclass(frozen=True, slots=True)
class Load:
    """What a server does, and for how long it is watched.

    Attributes:
        nodes: how many.
        hz: changes of each a second.
        seconds: of one run.
        rounds: runs of each way.
    """

    nodes: int
    hz: float
    seconds: float
    rounds: int

    @property
    def values(self) -> float:
        """Values that come in one run."""
        return self.nodes * self.hz * self.seconds


def figures(quick: bool) -> Iterator[Figure]:
    """Processor time of ours beside the bare way, of security, and of many slow tags."""
    rounds = 3 if quick else ROUNDS
    fast = Load(1000, 10.0, 4.0 if quick else 15.0, rounds)
    with _served(fast) as (endpoint, folder):
        bare, ours, secured = _turns(fast, endpoint, folder, "bare", "ours", "secured")
    name = f"OPC UA, {fast.nodes} tags at {fast.hz:g} Hz, none lost: processor us a value"
    yield Figure(f"{name} to the disk, against a bare handler", ours, bare, BARE_BAR, True, quick)
    limit = bare / BARE_BAR / SECURED_BAR
    yield Figure(
        f"{name}, signed and encrypted against neither", secured, ours, SECURED_BAR, True, quick, limit
    )
    slow = Load(5000, 1.0, 5.0 if quick else 20.0, rounds)
    with _served(slow) as (endpoint, folder):
        (ours,) = _turns(slow, endpoint, folder, "ours")
    share = ours * 1e-6 * slow.nodes * slow.hz
    yield Figure(
        f"OPC UA, {slow.nodes} tags at {slow.hz:g} Hz, none lost: share of one core, against {SHARE:g}",
        share, SHARE, 1.0, True, quick,
    )  # fmt: skip


def _turns(load: Load, endpoint: str, folder: Path, *ways: str) -> list[float]:
    """Median microseconds a value of each way; they take turns, so that a busy moment hits all of them."""
    taken: dict[str, list[float]] = {way: [] for way in ways}
    for _ in range(load.rounds):
        for way in ways:
            command = [
                "-m",
                "benchmarks.collector_opcua",
                way,
                endpoint,
                str(folder),
                json.dumps(asdict(load)),
            ]
            run = subprocess.run([sys.executable, *command], check=True, stdout=subprocess.PIPE, text=True)
            taken[way].append(json.loads(run.stdout)["cpu_s"] / load.values * 1e6)
    return [statistics.median(taken[way]) for way in ways]


@contextmanager
def _served(load: Load) -> Iterator[tuple[str, Path]]:
    """A running server's endpoint, and a folder for certificates; at the end its rate is checked."""
    with tempfile.TemporaryDirectory() as folder, closing(socket.socket()) as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
        probe.close()
        given = {"port": port, "nodes": load.nodes, "hz": load.hz, "folder": f"{folder}/server"}
        command = [sys.executable, "-m", "benchmarks.opcua_server", json.dumps(given)]
        server = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        try:
            if _answer(server) != "ready":
                raise RuntimeError("the server did not come up")
            trusted = Path(folder, "server", "trusted")
            access = _access(Path(folder, "client"))
            access.own(time.time_ns())
            shutil.copy(own_files(access.folder)[0], trusted / "client.der")
            (shown,) = read_certificates(Path(folder, "server", "own", "server.der").read_bytes(), "server")
            TrustFolder(access.folder).accept(shown, time.time_ns())
            before, began = _changes(server), time.monotonic()
            yield f"opc.tcp://127.0.0.1:{port}/", access.folder
            rate = (_changes(server) - before) / (time.monotonic() - began)
            if abs(rate / load.hz - 1) > _PACE:
                raise RuntimeError(f"the server changed its nodes {rate:.2f} times a second, not {load.hz:g}")
        finally:
            server.kill()
            server.communicate()


def _changes(server: subprocess.Popen[str]) -> int:
    if server.stdin is None:
        raise RuntimeError("the server cannot be asked")
    server.stdin.write("\n")
    server.stdin.flush()
    return int(_answer(server))


def _answer(server: subprocess.Popen[str]) -> str:
    return server.stdout.readline().strip() if server.stdout is not None else ""


def _access(folder: Path) -> Access:
    return Access(security=Security(SECURED, "SignAndEncrypt"), folder=folder)


class _Nothing:
    """Does nothing with what comes."""

    def datachange_notification(self, node: Any, value: Any, data: Any) -> None:
        """A value came."""


async def bare(endpoint: str, load: Load) -> float:
    """Processor seconds of the library's own subscription."""
    async with Client(endpoint, timeout=30.0, watchdog_intervall=30.0) as client:
        index = await client.get_namespace_index(URI)
        subscription = await client.create_subscription(250, _Nothing())
        nodes = [client.get_node(ua.NodeId(f"N{n}", index)) for n in range(load.nodes)]
        await subscription.subscribe_data_change(nodes, queuesize=300, sampling_interval=1000 / load.hz)
        await asyncio.sleep(_SETTLE_S)
        began = time.process_time()
        await asyncio.sleep(load.seconds)
        took_s = time.process_time() - began
        await client.check_connection()
        return took_s


class _NoJudge:
    """Judges nothing."""

    def feed(self, seq: int, frame: Frame) -> None:
        """A frame is on disk."""

    def advance(self, now_ns: int) -> None:
        """Time has passed."""


async def ours(endpoint: str, load: Load, access: Access) -> float:
    """Processor seconds from the server to the disk.

    Raises:
        RuntimeError: a value is missing in the store.
    """
    tags = tuple(TagMapping(f"own.n{n}.pv", f"nsu={URI};s=N{n}", "1") for n in range(load.nodes))
    mapping = SourceMapping("bench", endpoint, False, tags)
    asking = Asking(sampling=Sampling(1000 / load.hz))
    with tempfile.TemporaryDirectory() as folder, closing(EmbeddedStore.open(Path(folder))) as store:
        known = store.register(tags_of([mapping]))
        inbox = Inbox([mapping], known)
        writer = Writer(store, inbox, _NoJudge(), WallClock(), lambda event: None)
        source = OpcUaSource(mapping, known, access=access, asking=asking)
        roster = Roster(inbox, WallClock())
        roster.start(source)
        collecting = asyncio.create_task(collect(roster, writer))
        async with asyncio.timeout(_LONGEST_S):
            while source.counts.received < 2 * load.nodes:  # noqa: ASYNC110  (a source cannot wake us)
                await asyncio.sleep(0.1)
        await asyncio.sleep(_SETTLE_S)
        began = time.process_time()
        await asyncio.sleep(load.seconds)
        took_s = time.process_time() - began
        collecting.cancel()
        await asyncio.gather(collecting, return_exceptions=True)
        _check(store, [t.path for t in tags], load)
    return took_s


def _check(store: EmbeddedStore, paths: list[str], load: Load) -> None:
    """Each node's counter is whole."""
    for path, series in store.read(paths, 0, 2**62).items():
        counted = series.value[series.value > 0.0]
        if len(counted) < load.hz * load.seconds or not (np.diff(counted) == 1.0).all():
            raise RuntimeError(f"{path}: {len(counted)} values in the store, and some are missing")


def _main(way: str, endpoint: str, folder: str, load: Load) -> None:
    if way == "bare":
        took_s = asyncio.run(bare(endpoint, load))
    else:
        took_s = asyncio.run(ours(endpoint, load, _access(Path(folder)) if way == "secured" else OPEN))
    print(json.dumps({"cpu_s": took_s}))


if __name__ == "__main__":
    import structlog

    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(40))
    logging.getLogger("asyncua").setLevel(logging.ERROR)
    _main(sys.argv[1], sys.argv[2], sys.argv[3], Load(**json.loads(sys.argv[4])))
