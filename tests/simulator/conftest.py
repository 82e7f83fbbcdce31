"""The scenario that comes along, played once a test run, and a broker of a test's own."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from simulator.run import Recorder, Run
from simulator.scenarios.file import load_scenario
from simulator.scenarios.scenario import Scenario
from tests.support.mosquitto import Mosquitto

Columns = Mapping[str, NDArray[np.float64]]


def played(scenario: Scenario, first: int = 0, last: int | None = None) -> Columns:
    """What the sensors show in each second, by path."""
    recorder = Recorder(Run(scenario))
    shown = recorder.record(range(first, int(scenario.duration_s) if last is None else last))
    return {path: shown[:, k] for k, path in enumerate(recorder.paths)}


@pytest.fixture(scope="session")
def trial_day() -> Scenario:
    return load_scenario("trial_day")


@pytest.fixture(scope="session")
def day(trial_day: Scenario) -> Columns:
    """The whole trial day, with its faults."""
    return played(trial_day)


@pytest.fixture(scope="session")
def healthy_day(trial_day: Scenario) -> Columns:
    """The whole trial day with nothing going wrong."""
    return played(trial_day.without_faults())


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[Mosquitto]:
    with Mosquitto(tmp_path / "broker") as broker:
        yield broker
