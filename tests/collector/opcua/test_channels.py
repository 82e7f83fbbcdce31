"""Signals and units as a real OPC UA server tells them, through to what is stored."""

from __future__ import annotations

import math
from pathlib import Path

from collector import SourceMapping, SourceState, TagMapping
from collector.reading.channel import Channel
from historian import Series
from historian.quality import GOOD, SENSOR_FAILURE, SENSOR_NOT_ACCURATE
from historian.units import unece_number
from tests.collector.conftest import collecting
from tests.support.opcua_server import URI, OpcUaServer, ServedTag

LOOP = "filter.inlet.pressure.pv"
VOLTS = "water.pressure.pv"
TOLD = "filter.outlet.pressure.pv"
ABSOLUTE = "die.pressure.pv"


def tag(path: str, name: str, unit: str, channel: Channel | None = None) -> TagMapping:
    return TagMapping(path, f"nsu={URI};s={name}", unit, channel=channel, unit_assumed=True)


def samples(series: Series) -> list[tuple[float, int]]:
    return list(zip(series.value.tolist(), series.quality.tolist(), strict=True))


async def test_signals_and_told_units_are_stored_as_the_tags_own(tmp_path: Path) -> None:
    server = OpcUaServer(
        tmp_path,
        {
            "AI1": ServedTag(0.012, "A", unece_number("AMP")),
            "AI2": ServedTag(0.0, "V", unece_number("VLT")),
            "P2": ServedTag(12.5, "MPa", unece_number("MPA")),
            "P3": ServedTag(80.0, "bar(a)", unece_number("BAR")),
        },
    )
    tags = (
        tag(LOOP, "AI1", "mA", Channel("4-20 mA", 0, 250, "bar")),
        tag(VOLTS, "AI2", "V", Channel("0-10 V", 0, 16, "bar")),
        tag(TOLD, "P2", "bar"),
        tag(ABSOLUTE, "P3", "bar"),
    )
    await server.start()
    try:
        mapping = SourceMapping("machine", server.endpoint, False, tags)
        async with collecting(tmp_path / "store", mapping) as line:
            await line.until(lambda: line.source.status.state is SourceState.CONNECTED)
            await line.until(lambda: all(line.series(p) for p in (LOOP, VOLTS, TOLD)))
            await server.set("AI1", 0.0037)
            await server.set("AI1", 0.0)
            await line.until(lambda: len(line.series(LOOP)) >= 3)
            refused = line.event("unit-refused")
            loop, volts, told = (samples(line.series(p)) for p in (LOOP, VOLTS, TOLD))
    finally:
        server.kill()
    assert [(round(v, 9), q) for v, q in loop[:2]] == [(125.0, GOOD), (-4.6875, SENSOR_NOT_ACCURATE)]
    assert math.isnan(loop[2][0]) and loop[2][1] == SENSOR_FAILURE
    assert volts[0] == (0.0, SENSOR_NOT_ACCURATE)
    assert told[0] == (125.0, GOOD)
    assert refused.data["tag"] == ABSOLUTE and "absolute pressure, and the tag is gauge" in refused.text
