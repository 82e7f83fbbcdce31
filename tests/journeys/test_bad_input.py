"""A line whose file does not fit its machine: what is wrong is named, the rest goes on."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable

from tests.journeys.line import LineUnderTest, told

MakeLine = Callable[..., LineUnderTest]


def test_unknown_node_and_wrong_unit_are_named_and_the_rest_goes_on(make_line: MakeLine) -> None:
    line = make_line()
    text = line.file.read_text(encoding="utf-8")
    text = text.replace("s=filter.dp.calc", "s=no.such.node")
    text = text.replace('s=die.pressure.pv", unit = "bar"', 's=die.pressure.pv", unit = "MPa"')
    line.file.write_text(text, encoding="utf-8")
    line.start_machines()
    line.start_run()
    line.until(lambda: line.samples_of("filter.inlet.pressure.pv") > 5, 30, "samples of the other tags")
    line.stop("run")
    line.stop("machines")
    (unknown,) = told(line.journal(), "unknown-node")
    assert "filter.dp.calc" in unknown.data["text"]
    assert "no.such.node" in unknown.data["text"]
    (unit,) = told(line.journal(), "unit-refused")
    assert "die.pressure.pv" in unit.data["text"]
    assert "bar" in unit.data["text"]
    assert "MPa" in unit.data["text"]
    assert "Remedy" in unit.data["text"]
    stored = line.stored()
    assert len(stored["die.pressure.pv"]) == 0
    assert not (stored["filter.dp.calc"].quality == 0).any()


def test_replay_says_the_same_by_arrival_and_by_source_time_where_nothing_was_late(
    make_line: MakeLine,
) -> None:
    line = make_line()
    line.start_machines(start_at=14_486)  # the plate burns out four seconds later
    line.start_run()
    line.until(lambda: any(e.kind == "finding" for e in line.journal()), 60, "the burnt-out plate is found")
    line.stop("run")
    line.stop("machines")
    said = {}
    for by in ("arrival", "source-time"):
        done = subprocess.run(
            [sys.executable, "-m", "meltledger", "replay", str(line.file), "--by", by],
            capture_output=True,
            text=True,
            timeout=120,
            check=True,
        )
        said[by] = [words for words in done.stdout.splitlines() if "heater-power" in words]
        assert len(said[by]) == 2, done.stdout
        assert "filter.plate.5" in said[by][0]
    assert [w.split("  ", 1)[1] for w in said["arrival"]] == [
        w.split("  ", 1)[1] for w in said["source-time"]
    ]
