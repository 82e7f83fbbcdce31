"""The simulated line beside a real one: how much faster it is, and what it costs when it keeps pace."""

from __future__ import annotations

import contextlib
import resource
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import replace

import psutil

from benchmarks.figure import ROUNDS, Figure, medians
from simulator.run import batch, published_tags
from simulator.scenarios.file import load_scenario

TAGS = 200
HOURS = 6.0
HOURS_QUICK = 0.5
# A six-hour trial in 12 s; a fifth of a core at real pace; half a gigabyte.
BATCH_BAR = HOURS * 3600.0 / 12.0
LIVE_BAR = 5.0
MEMORY_MB = 500.0
_SCENARIO = "film_agglomerate"


def figures(quick: bool) -> Iterator[Figure]:
    """Speed and memory of the batch form, and the processor's share at real pace."""
    hours = HOURS_QUICK if quick else HOURS
    # A real line gives one second of samples a second.
    (speed,) = medians(lambda: hours * 3600.0 / _played_s(hours), rounds=ROUNDS)
    yield Figure(
        f"batch with {TAGS} tags, line seconds/s against a real line", speed, 1.0, BATCH_BAR, quick=quick
    )
    peak_mb = float(subprocess.run(_alone(hours), check=True, capture_output=True, text=True).stdout)
    yield Figure(
        f"batch with {TAGS} tags, peak MB against {MEMORY_MB:g}", peak_mb, MEMORY_MB, 1.0, True, quick
    )
    yield Figure(
        f"{TAGS} tags at real pace, processor seconds a second against one core", _live_share(quick), 1.0,
        LIVE_BAR, True, quick,
    )  # fmt: skip


def _played_s(hours: float) -> float:
    began = time.perf_counter()
    play(hours)
    return time.perf_counter() - began


def play(hours: float) -> int:
    """Play that many hours with ``TAGS`` tags in batch form; gives the number of samples."""
    scenario = replace(load_scenario(_SCENARIO), duration_s=hours * 3600.0)
    own = len(published_tags(scenario))
    aux = max(0, TAGS - own)
    tags = {t.path: replace(t, id=k) for k, t in enumerate(published_tags(scenario, aux_channels=aux), 1)}
    return sum(len(frame) for frame in batch(scenario, tags, 0, aux_channels=aux))


def _alone(hours: float) -> list[str]:
    return [sys.executable, "-m", "benchmarks.simulator", str(hours)]


def _live_share(quick: bool) -> float:
    """Processor share of the line served at real pace over OPC UA, after it has started, without a client."""
    for_s = 10.0 if quick else 60.0
    own = len(published_tags(load_scenario(_SCENARIO)))
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    command = ["-m", "meltledger", "simulate", _SCENARIO, "--serve", "opcua"]
    command += ["--endpoint", f"opc.tcp://127.0.0.1:{port}", "--start-at", str(120 * 60)]
    command += ["--aux-channels", str(max(0, TAGS - own))]
    server = subprocess.Popen(
        [sys.executable, *command], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    try:
        _wait_for(server, port)
        before = psutil.Process(server.pid).cpu_times()
        time.sleep(for_s)
        after = psutil.Process(server.pid).cpu_times()
    finally:
        server.terminate()
        server.wait()
    return float(after.user - before.user + after.system - before.system) / for_s


def _wait_for(server: subprocess.Popen[bytes], port: int) -> None:
    until = time.monotonic() + 120.0
    while time.monotonic() < until and server.poll() is None:
        with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), timeout=1.0):
            time.sleep(5.0)  # what the start costs is not the pace's
            return
        time.sleep(0.2)
    raise RuntimeError("the simulated line did not come up within two minutes")


if __name__ == "__main__":
    play(float(sys.argv[1]))
    print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0)
