"""What a running line tells other programs: readable by Prometheus' own parsers, and honest."""

from __future__ import annotations

import json
import re
import socket
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import closing
from math import nan
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from prometheus_client import REGISTRY
from prometheus_client.openmetrics.parser import text_string_to_metric_families as open_families
from prometheus_client.parser import text_string_to_metric_families as families

from collector import Health, SourceCounts, SourceState
from collector.health.figures import Look, StoreHealth, health_of
from collector.keeping.flow import FlowNow
from historian import NS
from historian.errors import OutsideWorldAway
from meltledger.metrics import MetricsServer, healthz
from tests.support.ports import free_port

NOW_NS = 1_800_000_000 * NS
OPEN = "application/openmetrics-text; version=1.0.0; charset=utf-8"


def look(second: int, state: SourceState, n: int) -> Look:
    counts = SourceCounts(n, 2, 3, 4, 5, 6, 7, 8)
    flow = FlowNow(1, 30 * NS, NS // 5, NS, NS // 10)
    return Look(NOW_NS + second * NS, NOW_NS + second * NS, state, NOW_NS, counts, flow)


def health(state: SourceState = SourceState.CONNECTED, age_s: float = 0.5) -> Health:
    sources = (
        health_of("press-1", look(0, state, 0), look(60, state, 600)),
        health_of("fresh", look(60, SourceState.CONNECTED, 0), Look(NOW_NS, NOW_NS, SourceState.CONNECTED, NOW_NS, SourceCounts(), FlowNow())),
    )  # fmt: skip
    return Health(NOW_NS + 60 * NS, NOW_NS + 60 * NS, sources, StoreHealth(9, age_s, 25e9, 100e9))


@pytest.fixture(scope="module")
def told() -> Iterator[SimpleNamespace]:
    """A server whose health a test may set."""
    watch: Any = SimpleNamespace(health=health())
    clock: Any = SimpleNamespace(now_ns=lambda: NOW_NS + 61 * NS)
    port = free_port()
    with closing(MetricsServer("line-1", watch, clock, "127.0.0.1", port, within_s=10.0)):
        yield SimpleNamespace(watch=watch, port=port)


def get(port: int, path: str, accept: str = "", method: str = "GET") -> tuple[int, str, str]:
    request = urllib.request.Request(
        f"http://127.0.0.1:{port}{path}", headers={"Accept": accept}, method=method
    )
    try:
        with urllib.request.urlopen(request, timeout=20.0) as answer:
            return answer.status, answer.headers["Content-Type"], answer.read().decode()
    except urllib.error.HTTPError as error:
        with error:
            return error.code, error.headers["Content-Type"], error.read().decode()


def test_prometheus_reads_every_figure_of_every_source(told: SimpleNamespace) -> None:
    told.watch.health = health()
    status, kind, text = get(told.port, "/metrics")
    assert status == 200 and kind.startswith("text/plain")
    samples = {(s.name, s.labels.get("source")): s for f in families(text) for s in f.samples}
    values = {name: s.value for (name, source), s in samples.items() if source in ("press-1", None)}
    assert values == {
        "meltledger_source_connected": 1.0,
        "meltledger_source_state_since_timestamp_seconds": NOW_NS / NS,
        "meltledger_source_waiting": 8.0,
        "meltledger_source_clock_wrong": 0.0,
        "meltledger_clock_wrong": 0.0,
        "meltledger_source_samples_per_second": 10.0,
        "meltledger_source_lag_seconds": 0.2,
        "meltledger_source_lag_worst_seconds": 1.0,
        "meltledger_source_clock_offset_seconds": 0.4,
        "meltledger_source_clock_uncertainty_seconds": 0.5,
        "meltledger_source_gaps_total": 1.0,
        "meltledger_source_gap_seconds_total": 30.0,
        "meltledger_source_received_samples_total": 600.0,
        "meltledger_source_overflows_total": 2.0,
        "meltledger_source_missed_messages_total": 3.0,
        "meltledger_source_rejected_values_total": 4.0,
        "meltledger_source_unstamped_samples_total": 5.0,
        "meltledger_source_reconnects_total": 6.0,
        "meltledger_source_backfilled_samples_total": 7.0,
        "meltledger_store_backlog_samples": 9.0,
        "meltledger_store_last_commit_timestamp_seconds": NOW_NS / NS + 59.5,
        "meltledger_store_disk_free_bytes": 25e9,
        "meltledger_store_disk_size_bytes": 100e9,
    }
    # What is not known has no sample, rather than NaN.
    assert ("meltledger_source_lag_seconds", "fresh") not in samples
    assert ("meltledger_source_gaps_total", "fresh") in samples
    assert all(set(s.labels) in ({"line"}, {"line", "source"}) for s in samples.values())


def test_the_names_keep_to_the_rules_of_openmetrics(told: SimpleNamespace) -> None:
    """Source: OpenMetrics 1.0, "Metric Family Name", "Counter", "Units and Base Units"."""
    told.watch.health = health()
    _, kind, text = get(told.port, "/metrics", OPEN)
    assert kind.startswith("application/openmetrics-text")
    assert text.endswith("# EOF\n")
    found = list(open_families(text))
    assert found
    for family in found:
        assert re.fullmatch(r"meltledger_(source|store|clock)_[a-z_]+", family.name)
        assert family.documentation.endswith(".")
        assert not family.name.endswith(("_total", "_count", "_sum", "_info", "_created"))
        assert not re.search(r"_(ns|ms|milliseconds|minutes|kilobytes|percent)(_|$)", family.name)
        for sample in family.samples:
            assert sample.name.endswith("_total") == (family.type == "counter")
    assert {f.type for f in found} == {"gauge", "counter"}


def test_every_metric_is_explained(told: SimpleNamespace) -> None:
    told.watch.health = health()
    page = (Path(__file__).parents[2] / "docs" / "health.md").read_text(encoding="utf-8")
    names = {s.name for f in families(get(told.port, "/metrics")[2]) for s in f.samples}
    assert {name for name in names if f"`{name}`" not in page} == set()
    assert set(re.findall(r"`(meltledger_[a-z_]+)`", page)) == names


def test_nothing_goes_into_the_registry_that_everybody_shares(told: SimpleNamespace) -> None:
    assert not [name for name in REGISTRY._names_to_collectors if name.startswith("meltledger")]


def test_before_the_first_look_nothing_is_told_and_nothing_is_healthy(told: SimpleNamespace) -> None:
    told.watch.health = None
    assert get(told.port, "/metrics")[::2] == (200, "")
    status, _, text = get(told.port, "/healthz")
    assert (status, json.loads(text)["reasons"]) == (503, ["the line has just been started"])


def test_healthz_is_200_only_while_everything_works(told: SimpleNamespace) -> None:
    told.watch.health = health()
    status, kind, text = get(told.port, "/healthz")
    assert (status, kind) == (200, "application/json")
    answer = json.loads(text)
    assert (answer["line"], answer["healthy"], answer["reasons"]) == ("line-1", True, [])
    assert answer["sources"]["press-1"]["lag_s"] == 0.2
    assert answer["sources"]["fresh"]["lag_s"] is None
    told.watch.health = health(SourceState.REFUSED, age_s=40.0)
    status, _, text = get(told.port, "/healthz")
    assert status == 503
    assert json.loads(text)["reasons"] == [
        "source press-1 is refused",
        "the store has taken nothing for 40 s; 9 samples wait in memory",
    ]


@pytest.mark.parametrize(("passed_s", "status"), [(0, 200), (9, 200), (11, 503), (-9, 200), (-3600, 503)])
def test_a_collector_that_does_not_look_any_more_is_not_healthy(passed_s: int, status: int) -> None:
    now_ns = health().clock_ns + passed_s * NS
    assert healthz("line-1", health(), now_ns, 10.0)[0] == status


def test_what_is_not_there_says_what_is_and_a_head_has_no_body(told: SimpleNamespace) -> None:
    assert get(told.port, "/")[::2] == (404, "Here are /metrics and /healthz.\n")
    assert get(told.port, "/metrics/../x")[0] == 404
    told.watch.health = health()
    assert get(told.port, "/metrics?name=x", method="HEAD")[::2] == (200, "")
    assert get(told.port, "/metrics", method="POST")[0] == 501


def test_a_client_that_says_nothing_keeps_nobody_waiting(told: SimpleNamespace) -> None:
    told.watch.health = health()
    with socket.create_connection(("127.0.0.1", told.port)):
        assert get(told.port, "/healthz")[0] == 200


def test_an_address_that_is_taken_is_said_with_the_remedy(told: SimpleNamespace) -> None:
    watch: Any = SimpleNamespace(health=None)
    clock: Any = SimpleNamespace(now_ns=lambda: 0)
    with pytest.raises(OutsideWorldAway, match=rf"127.0.0.1:{told.port}.*Choose another \[metrics\] port"):
        MetricsServer("x", watch, clock, "127.0.0.1", told.port, within_s=10.0)
    with pytest.raises(OutsideWorldAway, match=r"192\.0\.2\.1"):
        MetricsServer("x", watch, clock, "192.0.2.1", free_port(), within_s=10.0)


def test_a_part_of_the_disk_that_is_not_known_is_left_out(told: SimpleNamespace) -> None:
    told.watch.health = Health(NOW_NS, NOW_NS, (), StoreHealth(0, 0.0, nan, nan))
    names = {s.name for f in families(get(told.port, "/metrics")[2]) for s in f.samples}
    assert names == {
        "meltledger_clock_wrong",
        "meltledger_store_backlog_samples",
        "meltledger_store_last_commit_timestamp_seconds",
    }
