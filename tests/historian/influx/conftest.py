"""One influxd for all tests; a line of its own, with a proxy of its own, for each."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.historian.influx.line import Line
from tests.support.influx import Influxd, WritePath


@pytest.fixture(scope="session")
def influxd(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Influxd]:
    with Influxd(tmp_path_factory.mktemp("influxd")) as server:
        yield server


@pytest.fixture
def line(influxd: Influxd, tmp_path: Path) -> Iterator[Line]:
    with WritePath(influxd.port) as proxy:
        found = Line(proxy, tmp_path / "waiting")
        yield found
        found.close()
