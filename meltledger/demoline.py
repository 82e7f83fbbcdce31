"""The demo's line: its file, and the past hours of its trial that are filled in behind the live data."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator, Mapping
from pathlib import Path

from collector import Inbox, SourceCounts, SourceState, SourceStatus
from historian.event import EventSink
from historian.frame import NS, Frame
from historian.tags import Tag
from simulator.run import batch, published_tags
from simulator.scenarios.scenario import Scenario

SOURCE = "simulated-line"
_NODE = "nsu=urn:meltledger:simulated-line;s={path}"

_PLATE_KV = 0.4
_PRESSURES = {
    "dp": ("filter.dp.calc", "filter.wipe.dp.sp"),
    "inlet": ("filter.inlet.pressure.pv", "filter.wipe.inlet.sp"),
}
_LOAD = """
[[machine.cleaning]]
because = "load"
tag = "{tag}"
above = "{bar:g} bar"
held = "4 s"
"""
_CLOCK = """
[[machine.cleaning]]
because = "clock"
after = "{s:g} s"
"""
_FILE = """\
# The line of the demo. Everything in it is simulated.

[line]
name = "demo"
zone = "{zone}"

[store]
path = "data"

[[machine]]
kind = "doser"

[[machine]]
kind = "extruder"
zones = {barrel_zones}

[[machine]]
kind = "melt-filter"
plates = {plates}
screen_area = "{area:g} cm2"
fineness = "{fineness:g} um"
park = {{ at = "0 deg", tolerance = "5 deg" }}
heater = {{ power = "{plate_kw:g} kW", current = "{plate_a:g} A" }}
{cleaning}
[[machine]]
kind = "pelletizer"

[[machine]]
kind = "water"

[[machine]]
kind = "dryer"

[plan]
throughput = "{planned:g} kg/h"

[dashboard]
port = {port}
wall = {{ width = "1210 mm", distance = "3 m" }}

[[source]]
name = "{source}"
kind = "opcua"
endpoint = "{endpoint}"
simulated = true
clock = "{clock}"

[source.tags]
"""


def write_line_file(
    path: Path,
    scenario: Scenario,
    endpoint: str,
    *,
    port: int,
    zone: str,
    aux_channels: int = 0,
    clock: str = "wall",
) -> None:
    """Write the file of a line that reads the simulated one."""
    line = scenario.line
    text = _FILE.format(
        zone=zone,
        port=port,
        source=SOURCE,
        endpoint=endpoint,
        clock=clock,
        barrel_zones=line.barrel_zones,
        plates=line.plates,
        area=line.screen_area_cm2,
        fineness=line.fineness_um,
        plate_kw=line.plate_kw,
        plate_a=line.plate_kw / _PLATE_KV,
        cleaning=_cleaning(scenario),
        planned=max((s.to for s in scenario.steps if s.tag == "doser.rate.sp"), default=line.planned_kg_h),
    )
    for tag in published_tags(scenario, aux_channels=aux_channels):
        text += f'"{tag.path}" = {{ node = "{_NODE.format(path=tag.path)}", unit = "{tag.unit}" }}\n'
    path.write_text(text, encoding="utf-8")


def _cleaning(scenario: Scenario) -> str:
    """When the scenario's filter is cleaned."""
    settings = scenario.settings
    tag, setpoint = _PRESSURES.get(scenario.line.wiper_trigger, ("", ""))
    text = ""
    if setpoint in settings:
        text += _LOAD.format(tag=tag, bar=settings[setpoint])
    if "filter.wipe.time.sp" in settings:
        text += _CLOCK.format(s=settings["filter.wipe.time.sp"])
    return text


class PastHours:
    """Fills in the trial's hours before the live data, simulated as fast as it goes.

    Args:
        tags: as the store knows them, by path.
        t0_ns: time of the scenario's second 0, UTC nanoseconds.
    """

    name = "past-hours"

    def __init__(self, scenario: Scenario, tags: Mapping[str, Tag], t0_ns: int) -> None:
        self._scenario, self._tags, self._t0_ns = scenario, tags, t0_ns

    @property
    def status(self) -> SourceStatus:
        """Always there: nothing of it is shown."""
        return SourceStatus(self.name, SourceState.CONNECTED, self._t0_ns)

    @property
    def counts(self) -> SourceCounts:
        """Nothing of it is counted: it fills in behind the live source."""
        return SourceCounts()

    async def run(self, inbox: Inbox, sink: EventSink) -> None:
        """Wait for the live data, then deliver what was before it minute by minute, until cancelled.

        Most of the processor is left to the live data.
        """
        while (live_ns := inbox.first_ns(SOURCE)) is None:  # noqa: ASYNC110 - a demo may poll
            await asyncio.sleep(0.1)
        frames = batch(self._scenario, self._tags, self._t0_ns, 0, (live_ns - self._t0_ns) // NS)
        while (frame := await asyncio.to_thread(_next, frames)) is not None:
            inbox.put_lot(SOURCE, frame)
            await asyncio.sleep(0.1)
        await asyncio.Event().wait()


def _next(frames: Iterator[Frame]) -> Frame | None:
    return next(frames, None)
