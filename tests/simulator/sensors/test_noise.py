from __future__ import annotations

import numpy as np
import pytest

from historian.catalogue import meaning_of
from historian.tags import TagKind
from simulator.chance import BLOCK_STEPS
from simulator.instruments import Instruments
from simulator.run import published_tags
from simulator.scenarios.scenario import Scenario
from simulator.sensors import Sensor, Signal

SIGNALS = [
    Signal("a.temp.pv", lambda: 0.0, Sensor(sigma=0.12)),
    Signal("a.torque.pv", lambda: 0.0, Sensor(sigma=0.6, memory=0.8)),
    Signal("a.out", lambda: 0.0, Sensor(sigma=0.4, quiet_at_rest=True, full=100.0)),
    Signal("b.pressure.pv", lambda: 0.0, Sensor(sigma=0.3)),
    Signal("a.dp.calc", lambda: 0.0, Sensor(), difference_of=("a.temp.pv", "b.pressure.pv")),
    Signal("c.sp", lambda: 0.0),
]


def _shown(seconds: range, values: list[float], seed: int = 1) -> np.ndarray:
    return Instruments(SIGNALS, seed=seed, scatter=True).show(seconds, np.tile(values, (len(seconds), 1)))


def test_noise_has_its_size_and_its_memory() -> None:
    shown = _shown(range(20_000), [220.0, 60.0, 30.0, 50.0, 0.0, 7.125])
    # Rounding to 0.1 adds 0.1/sqrt(12) to the noise.
    assert shown[:, 0].std() == pytest.approx(np.hypot(0.12, 0.1 / np.sqrt(12)), rel=0.05)
    assert shown[:, 0].mean() == pytest.approx(220.0, abs=0.01)
    torque = shown[:, 1] - 60.0
    assert torque.std() == pytest.approx(0.6, rel=0.08)
    assert np.corrcoef(torque[:-1], torque[1:])[0, 1] == pytest.approx(0.8, abs=0.03)
    temperature = shown[:, 0] - 220.0
    assert abs(np.corrcoef(temperature[:-1], temperature[1:])[0, 1]) < 0.03
    assert np.all(shown[:, 5] == 7.125)


def test_values_have_the_sensors_resolution_and_differences_agree() -> None:
    shown = _shown(range(100), [220.03, 60.0, 30.0, 50.0, 0.0, 1.0])
    assert np.array_equal(shown[:, 0], np.round(shown[:, 0], 1))
    assert np.allclose(shown[:, 4], shown[:, 0] - shown[:, 3], atol=1e-9)


def test_an_output_at_rest_or_at_its_end_is_quiet() -> None:
    assert np.all(_shown(range(100), [0.0, 0.0, 0.0, 0.0, 0.0, 0.0])[:, 2] == 0.0)
    assert np.all(_shown(range(100), [0.0, 0.0, 100.0, 0.0, 0.0, 0.0])[:, 2] == 100.0)


def test_any_seconds_show_what_they_would_in_one_go() -> None:
    values = [220.0, 60.0, 30.0, 50.0, 0.0, 1.0]
    whole = _shown(range(3 * BLOCK_STEPS), values)
    instruments = Instruments(SIGNALS, seed=1, scatter=True)
    for seconds in (range(700, 705), range(5, 1200, 7), range(511, 513), range(0, 1)):
        part = instruments.show(seconds, np.tile(values, (len(seconds), 1)))
        assert np.array_equal(part, whole[list(seconds)])


def test_without_scatter_the_truth_is_shown() -> None:
    values = np.array([[220.03, 60.01, 30.02, 50.0, 0.0, 1.0]])
    shown = Instruments(SIGNALS, seed=1, scatter=False).show([3], values)
    assert shown[0, :4].tolist() == values[0, :4].tolist()
    assert shown[0, 4] == pytest.approx(170.03)


def test_every_tag_is_simulated_and_known_or_the_lines_own(trial_day: Scenario) -> None:
    tags = published_tags(trial_day, source="plc", aux_channels=3)
    assert len({t.path for t in tags}) == len(tags) > 100
    assert all(t.simulated and t.source == "plc" and t.text for t in tags)
    own = {t.path for t in tags if meaning_of(t.path) is None}
    assert own == {f"aux.channel.{n}.pv" for n in (1, 2, 3)}
    # Set-points hold; what is not known to the catalogue must say so itself.
    assert all(t.kind is TagKind.STEP for t in tags if t.path.endswith(".sp"))
    assert not [t.path for t in tags if "true" in t.path or "cake" in t.path or "held" in t.path]
