from __future__ import annotations

import pytest

from historian.catalogue import CATALOGUE
from simulator.sensors import SOURCES, source_of

# Which controller each machine of the line hangs on.
GROUPS = {
    "extruder": ("doser.rate.pv", "extruder.zone.3.temp.pv", "pump.speed.pv"),
    "filter": ("filter.plate.1.i", "filter.dp.calc"),
    "pelletizer": (
        "die.pressure.pv",
        "pelletizer.knife.speed.pv",
        "water.flow.pv",
        "dryer.current.pv",
        "diverter.state",
        "product.scale.total",
        "pellet.moisture.pv",
    ),
    "line": ("line.power.pv", "room.temp.pv", "util.air.pressure.pv", "aux.channel.7.pv"),
}


@pytest.mark.parametrize(("source", "paths"), GROUPS.items())
def test_every_machine_hangs_on_one_source(source: str, paths: tuple[str, ...]) -> None:
    assert {source_of(path) for path in paths} == {source}


def test_every_canonical_tag_has_a_source_and_every_source_has_tags() -> None:
    assert {source_of(pattern) for pattern in CATALOGUE} == set(SOURCES)
