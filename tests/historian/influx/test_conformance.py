"""The InfluxDB store answers as every store must."""

from __future__ import annotations

import pytest

from tests.historian.conformance import Conformance
from tests.historian.influx.line import Line


@pytest.mark.influx
class TestInflux(Conformance):
    @pytest.fixture
    def house(self, line: Line) -> Line:
        return line
