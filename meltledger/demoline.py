"""The demo's line: its file, and the past hours of its trial that are filled in behind the live data."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator, Mapping
from pathlib import Path

from collector import Inbox, SourceState, SourceStatus
from historian.event import EventSink
from historian.frame import NS, Frame
from historian.tags import Tag
from simulator.run import batch, published_tags
from simulator.scenario import Scenario

SOURCE = "simulated-line"
_NODE = "nsu=urn:meltledger:simulated-line;s={path}"

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
zones = 5

[[machine]]
kind = "melt-filter"
plates = 8
screen_area = "1178 cm2"
fineness = "110 um"
park = {{ at = "0 deg", tolerance = "5 deg" }}
heater = {{ power = "2.4 kW", current = "6 A" }}

[[machine.cleaning]]
because = "load"
tag = "filter.dp.calc"
above = "45 bar"
held = "4 s"

[[machine.cleaning]]
because = "clock"
after = "9 min"

[[machine]]
kind = "pelletizer"

[[machine]]
kind = "water"

[[machine]]
kind = "dryer"

[plan]
throughput = "640 kg/h"

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
    text = _FILE.format(zone=zone, port=port, source=SOURCE, endpoint=endpoint, clock=clock)
    for tag in published_tags(scenario, aux_channels=aux_channels):
        text += f'"{tag.path}" = {{ node = "{_NODE.format(path=tag.path)}", unit = "{tag.unit}" }}\n'
    path.write_text(text, encoding="utf-8")


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

    async def run(self, inbox: Inbox, sink: EventSink) -> None:
        """Wait for the live data, then deliver what was before it minute by minute, until cancelled.

        Most of the processor is left to the live data.
        """
        while (live_ns := inbox.first_ns(SOURCE)) is None:  # noqa: ASYNC110 - a demo may poll
            await asyncio.sleep(0.1)
        frames = batch(self._scenario, self._tags, self._t0_ns, 0, (live_ns - self._t0_ns) // NS)
        while (frame := await asyncio.to_thread(_next, frames)) is not None:
            inbox.put_lot(frame)
            await asyncio.sleep(0.1)
        await asyncio.Event().wait()


def _next(frames: Iterator[Frame]) -> Frame | None:
    return next(frames, None)
