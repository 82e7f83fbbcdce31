"""Plays a scenario: one trajectory of the plant, whether as a batch, live, or for its truth."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from simulator.batch import batch
from simulator.course import Run
from simulator.gauges import signals_of
from simulator.json_file import write_json
from simulator.moments import at_ns
from simulator.recorder import SOURCE, Recorder, published_tags
from simulator.scenarios.scenario import Scenario
from simulator.truth import first_visible_s, truth_entries

__all__ = ["SOURCE", "Recorder", "Run", "batch", "labels", "published_tags", "truth", "write_truth"]


def truth(scenario: Scenario, t0_ns: int) -> list[dict[str, Any]]:
    """What really goes wrong in a scenario, and when; plays it once without sampling.

    ``first_visible_ns`` is None for a fault that nobody could see before the end.
    """
    return truth_entries(scenario, first_visible_s(scenario, Run, signals_of), t0_ns)


def labels(scenario: Scenario, t0_ns: int) -> list[dict[str, Any]]:
    """The scenario's named stretches with their times."""
    return [
        {
            "id": label.id,
            "text": label.text,
            "start_ns": at_ns(t0_ns, label.from_s),
            "end_ns": at_ns(t0_ns, label.until_s),
        }
        for label in scenario.labels
    ]


def write_truth(path: Path, scenario: Scenario, t0_ns: int) -> None:
    """Write the truth of a scenario as a JSON list."""
    write_json(path, truth(scenario, t0_ns))
