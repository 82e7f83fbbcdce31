"""Tells other programs how a running line does: ``/metrics`` for Prometheus, ``/healthz`` for a watchdog.

Names, units and counters follow the Prometheus naming rules and OpenMetrics 1.0: base units in the name,
counters end in ``_total``, moments are Unix times in seconds. Nothing is labelled by tag.
Source: OpenMetrics 1.0, "Units and Base Units", "Counter"; prometheus.io, "Metric and label naming".
"""

from __future__ import annotations

import json
import socket
import threading
from collections.abc import Iterable, Iterator
from dataclasses import fields
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from math import isnan
from typing import Any, Final

from prometheus_client import CollectorRegistry
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric
from prometheus_client.exposition import choose_encoder
from prometheus_client.registry import Collector

from collector.clock import Clock
from collector.health.figures import Health, SourceHealth
from collector.health.watch import Watch
from collector.source import SourceCounts, SourceState
from historian.errors import OutsideWorldAway
from historian.frame import NS

SLOW_CLIENT_S: Final = 5.0

_COUNTED: Final = {
    "received": ("received_samples", "Samples that arrived, kept or not"),
    "overflows": ("overflows", "Times the source's own queue had run over"),
    "missed": ("missed_messages", "Messages known to be lost on the way"),
    "rejected": ("rejected_values", "Values or messages that could not be read"),
    "unstamped": ("unstamped_samples", "Samples without a source time"),
    "reconnects": ("reconnects", "Connections after the first one"),
    "backfilled": ("backfilled_samples", "Samples that came later, to fill a gap"),
}
_MEASURED: Final = {
    "rate_per_s": ("samples_per_second", "Samples that arrived a second, over the last minute"),
    "lag_s": ("lag_seconds", "Newest sample: from its time stamp to arrival"),
    "worst_lag_s": ("lag_worst_seconds", "The same for the latest sample of the last minute"),
    "clock_offset_s": ("clock_offset_seconds", "By how much the source's clock is ahead of this computer's"),
    "clock_uncertainty_s": ("clock_uncertainty_seconds", "How far off the offset may be"),
}


class LineMetrics(Collector):
    """The health of a line as Prometheus metrics, in a registry of its own.

    Args:
        line: its name.
        watch: whose last look is shown.
    """

    def __init__(self, line: str, watch: Watch) -> None:
        self._line, self._watch = line, watch
        self.registry = CollectorRegistry(auto_describe=False)
        self.registry.register(self)

    def describe(self) -> Iterable[Metric]:
        """Nothing before the first look."""
        return ()

    def collect(self) -> Iterator[Metric]:
        """The metrics as of the last look; none before the first."""
        health = self._watch.health
        if health is not None:
            yield from self._of_store(health)
            yield from self._of_sources(health.sources)

    def _of_store(self, health: Health) -> Iterator[Metric]:
        store = health.store
        committed_s = health.clock_ns / NS - store.commit_age_s
        for name, text, value in (
            ("store_backlog_samples", "Samples that are not on disk yet", store.backlog),
            ("store_last_commit_timestamp_seconds", "When samples were last put on disk", committed_s),
            ("store_disk_free_bytes", "Free room on the store's disk", store.disk_free_bytes),
            ("store_disk_size_bytes", "All room on the store's disk", store.disk_bytes),
            ("clock_wrong", "Whether this computer's clock is not believed", float(bool(health.clock_doubt))),
        ):
            family = GaugeMetricFamily(f"meltledger_{name}", f"{text}.", labels=["line"])
            if not isnan(value):
                family.add_metric([self._line], value)
            yield family

    def _of_sources(self, sources: Iterable[SourceHealth]) -> Iterator[Metric]:
        all_of = list(sources)
        yield self._gauge(
            "connected",
            "Whether the source is connected",
            ((s, float(s.state is SourceState.CONNECTED)) for s in all_of),
        )
        yield self._gauge(
            "state_since_timestamp_seconds",
            "Since when it is connected, or is not",
            ((s, s.since_ns / NS) for s in all_of),
        )
        yield self._gauge(
            "clock_wrong",
            "Whether its clock is known to be wrong",
            ((s, float(bool(s.clock_fault))) for s in all_of),
        )
        yield self._gauge(
            "waiting",
            "What waits to be read or acknowledged",
            ((s, float(s.counts.waiting)) for s in all_of),
        )
        for key, (name, text) in _MEASURED.items():
            yield self._gauge(name, text, ((s, float(getattr(s, key))) for s in all_of))
        yield self._counter("gaps", "Times it was lost", ((s, s.gaps) for s in all_of))
        yield self._counter("gap_seconds", "Time it was lost", ((s, s.gap_s) for s in all_of))
        for field in fields(SourceCounts):
            if field.name in _COUNTED:
                name, text = _COUNTED[field.name]
                yield self._counter(name, text, ((s, getattr(s.counts, field.name)) for s in all_of))

    def _gauge(self, name: str, text: str, values: Iterable[tuple[SourceHealth, float]]) -> Metric:
        family = GaugeMetricFamily(f"meltledger_source_{name}", f"{text}.", labels=["line", "source"])
        for source, value in values:
            if not isnan(value):
                family.add_metric([self._line, source.name], value)
        return family

    def _counter(self, name: str, text: str, values: Iterable[tuple[SourceHealth, float]]) -> Metric:
        text = f"{text}, since the start."
        family = CounterMetricFamily(f"meltledger_source_{name}", text, labels=["line", "source"])
        for source, value in values:
            family.add_metric([self._line, source.name], value)
        return family


def healthz(
    line: str, health: Health | None, now_ns: int, within_s: float
) -> tuple[HTTPStatus, dict[str, Any]]:
    """Whether a line does its work in full, and if not, why.

    Args:
        health: as of the last look; None before the first.
        within_s: the store must have taken samples, and somebody have looked, within so many seconds.
    """
    if health is None:
        reasons = ["the line has just been started"]
    else:
        reasons = health.reasons(within_s)
        if abs(now_ns - health.clock_ns) > within_s * NS:
            reasons.append(f"the collector has not looked at its sources for {within_s:.0f} s or more")
    told = {"line": line, "healthy": not reasons, "reasons": reasons}
    told |= health.to_json() if health is not None else {}
    return (HTTPStatus.SERVICE_UNAVAILABLE if reasons else HTTPStatus.OK), told


class MetricsServer:
    """Answers ``/metrics`` and ``/healthz`` on a thread of its own, until closed.

    Args:
        metrics: what is told.
        watch, clock, within_s: for ``/healthz``.

    Raises:
        OutsideWorldAway: the address cannot be had, with the remedy.
    """

    def __init__(
        self, line: str, watch: Watch, clock: Clock, address: str, port: int, *, within_s: float
    ) -> None:
        metrics = LineMetrics(line, watch)

        class Answers(_Answers):
            registry = metrics.registry

            def health(self) -> tuple[HTTPStatus, dict[str, Any]]:
                return healthz(line, watch.health, clock.now_ns(), within_s)

        family = socket.AF_INET6 if ":" in address else socket.AF_INET
        server = type("_Server", (ThreadingHTTPServer,), {"address_family": family, "daemon_threads": True})
        try:
            self._server: ThreadingHTTPServer = server((address, port), Answers)
        except (OSError, OverflowError) as error:
            raise OutsideWorldAway(
                f"/metrics and /healthz cannot be given out at {address}:{port} ({error}); is another "
                "program there? Choose another [metrics] port in the line's file"
            ) from error
        self._thread = threading.Thread(
            target=self._server.serve_forever, name="meltledger-metrics", daemon=True
        )
        self._thread.start()

    def close(self) -> None:
        """Let go of the address."""
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()


class _Answers(BaseHTTPRequestHandler):
    """One request."""

    registry: CollectorRegistry
    timeout = SLOW_CLIENT_S
    server_version = "meltledger"
    sys_version = ""

    def health(self) -> tuple[HTTPStatus, dict[str, Any]]:
        raise NotImplementedError

    def do_GET(self) -> None:
        """Answer a request."""
        path = self.path.partition("?")[0]
        if path == "/metrics":
            encode, kind = choose_encoder(self.headers.get("Accept", ""))
            self._answer(HTTPStatus.OK, kind, encode(self.registry))
        elif path == "/healthz":
            status, told = self.health()
            self._answer(status, "application/json", json.dumps(told, indent=1).encode())
        else:
            said = b"Here are /metrics and /healthz.\n"
            self._answer(HTTPStatus.NOT_FOUND, "text/plain; charset=utf-8", said)

    do_HEAD = do_GET  # noqa: N815

    def log_message(self, format: str, *args: object) -> None:
        """Say nothing: a scrape every few seconds is no news."""

    def _answer(self, status: HTTPStatus, kind: str, body: bytes) -> None:
        self.send_response(status)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(body)))
        self.send_header("Cache-Control", "no-store")
        self.end_headers()
        if self.command != "HEAD":
            self.wfile.write(body)
