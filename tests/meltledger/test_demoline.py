"""The line file of the demo says what the scenario's line is, whichever is played."""

from __future__ import annotations

from pathlib import Path

import pytest

from meltledger.config import load
from meltledger.demoline import write_line_file
from simulator.run import published_tags
from simulator.scenarios.file import load_scenario, scenario_names


@pytest.mark.parametrize("name", scenario_names())
def test_the_line_file_is_that_of_the_scenarios_line(name: str, tmp_path: Path) -> None:
    scenario = load_scenario(name)
    file = tmp_path / "line.toml"
    write_line_file(file, scenario, "opc.tcp://127.0.0.1:4840", port=8050, zone="Europe/Madrid", clock="own")
    config = load(file)
    facts = config.facts
    assert facts.barrel_zones == scenario.line.barrel_zones
    assert facts.melt_filter is not None
    assert facts.melt_filter.plates == scenario.line.plates
    assert facts.melt_filter.heater_a == pytest.approx(scenario.line.plate_kw / 0.4)
    assert facts.melt_filter.max_interval_s == scenario.settings.get("filter.wipe.time.sp")
    fed = [step.to for step in scenario.steps if step.tag == "doser.rate.sp"]
    assert facts.planned_kg_h == max(fed)
    by_load = scenario.settings.get("filter.wipe.dp.sp") if scenario.line.wiper_trigger == "dp" else None
    assert facts.melt_filter.trigger_dp_bar == by_load


def test_every_published_tag_is_read(tmp_path: Path) -> None:
    scenario = load_scenario("yoghurt_cups")
    file = tmp_path / "line.toml"
    write_line_file(file, scenario, "opc.tcp://127.0.0.1:4840", port=8050, zone="Europe/Madrid")
    assert {t.path for t in load(file).tags} == {t.path for t in published_tags(scenario)}
