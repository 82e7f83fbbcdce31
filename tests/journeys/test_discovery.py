"""From an unknown server to samples in the store: look, check, run, and compare with what was published."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

from historian.catalogue import canonical_tag
from historian.quality import BAD
from historian.units import conversion
from meltledger.cli import root
from tests.journeys.line import LineUnderTest

NODESETS = Path(__file__).resolve().parents[2].parent / "shared" / "opc40084" / "xml"
Make = Callable[..., LineUnderTest]


def meltledger(*arguments: str, expect: int = 0) -> str:
    """What a verb prints, run as ``main`` runs it."""
    done = CliRunner().invoke(root, list(arguments), standalone_mode=False)
    assert done.exception is None and done.return_value == expect, done.output
    return done.stdout


def discovered(line: LineUnderTest) -> dict[str, Any]:
    """What the verb says, once the line's file is the one that it has drafted and that passes the check."""
    line.file.unlink()
    said = meltledger("discover", line.endpoint, "--output", str(line.file), "--name", "found", "--json")
    checked = meltledger("check", str(line.file))
    assert "no fault found" in checked
    found: dict[str, Any] = json.loads(said)
    assert found["simulated"] is True
    for finding in found["confirm"]:
        assert finding["tag"] in checked
    return found


def compared(line: LineUnderTest, found: dict[str, Any]) -> dict[str, int]:
    """How many samples of each canonical tag are in the store just as they were published."""
    stored, published = line.stored(), line.published()
    same: dict[str, int] = {}
    for finding in [*found["mapped"], *found["confirm"]]:
        tag, is_mapped = finding["becomes"] or finding["tag"], finding["becomes"] is None
        if tag not in published or finding["tag"] not in stored:
            continue
        unit = canonical_tag(tag).unit
        if finding["unit"] == "1" != unit:  # what a machine tells no unit of, and does not drive
            continue
        scale, offset = (1.0, 0.0) if is_mapped else conversion(finding["unit"], unit)
        series = stored[finding["tag"]]
        for time_ns, value, quality in zip(series.time_ns, series.value, series.quality, strict=True):
            true = published[tag].get(int(time_ns))
            if true is not None and not int(quality) & BAD:
                assert value * scale + offset == pytest.approx(true, rel=1e-6, abs=1e-6), (tag, finding)
                same[tag] = same.get(tag, 0) + 1
    return same


def kept(line: LineUnderTest, found: dict[str, Any], least: int) -> dict[str, int]:
    """Run the collector on the drafted file until enough tags have three samples, then compare."""
    wanted = [f["tag"] for f in [*found["mapped"], *found["confirm"]]]
    line.start_run()
    line.until(
        lambda: sum(len(s) >= 3 for p, s in line.stored().items() if p in wanted) >= least,
        40,
        "three samples a tag",
    )
    line.stop("run")
    assert all(np.all(np.diff(s.time_ns) > 0) for s in line.stored().values())
    same = compared(line, found)
    line.stop()
    return same


def test_a_flat_server_is_drafted_and_kept_under_neutral_names(make_line: Make) -> None:
    line = make_line()
    line.start_machines(faults=False)
    found = discovered(line)
    assert found["mapped"] == [] and len(found["confirm"]) > 150
    assert all(f["becomes"] and f["node"].endswith(f";s={f['becomes']}") for f in found["confirm"])
    assert all(f["tag"].startswith("found.") for f in found["confirm"])
    confirm_one(line.file)
    same = kept(line, found, 60)
    assert len(same) >= 60
    assert line.samples_of("filter.inlet.pressure.pv") and "filter.inlet.pressure.pv" not in same


def confirm_one(file: Path) -> None:
    """Confirm the inlet pressure, as a person does it; half of it is told as a fault."""
    text = file.read_text(encoding="utf-8")
    neutral = '"found.simulated_line.filter_inlet_pressure_pv" = {'
    (old,) = (row for row in text.splitlines() if row.startswith(neutral))
    half = text.replace(
        old, old.replace(neutral, '"filter.inlet.pressure.pv" = {').replace(", confirm = true", "")
    )
    file.write_text(half, encoding="utf-8")
    assert "take out becomes" in meltledger("check", str(file), expect=1)
    file.write_text(half.replace(', becomes = "filter.inlet.pressure.pv"', ""), encoding="utf-8")
    assert "filter_inlet_pressure_pv" not in meltledger("check", str(file))


@pytest.mark.shared
@pytest.mark.skipif(not NODESETS.is_dir(), reason="the published nodesets are not beside the project")
def test_machines_of_the_standard_map_themselves_and_points_wait_for_a_person(make_line: Make) -> None:
    line = make_line()
    line.start_machines(
        faults=False, more=["--companion", str(NODESETS), "--companion-names", "es", "--draw", "4"]
    )
    found = discovered(line)
    assert {m["kind"] for m in found["machines"]} == {"ExtrusionLine", "Extruder", "Filter", "Pelletizer"}
    mapped = {f["tag"]: f for f in found["mapped"]}
    assert {f"filter.plate.{n}.temp.pv" for n in range(1, 9)} <= set(mapped)
    assert {f["unit"] for f in mapped.values()} & {"[degF]", "K", "[lb_av]/h"}
    confirm = {f["becomes"]: f for f in found["confirm"]}
    inlet = confirm["filter.inlet.pressure.pv"]
    assert inlet["text"] == "Presión de masa antes del filtro" and inlet["tag"].startswith(
        "filter.melt_pressure_zones."
    )
    assert "filter.inlet.pressure.pv" not in mapped and "filter.plate.9.temp.pv" not in mapped
    same = kept(line, found, 60)
    assert {"filter.inlet.pressure.pv", "filter.outlet.pressure.pv", "filter.plate.8.temp.pv"} <= set(same)
    assert len(same) >= 60
