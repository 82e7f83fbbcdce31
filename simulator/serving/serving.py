"""What is being served, and how fast it may run."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from historian.errors import WrongInput
from historian.tags import Tag
from simulator.serving.trouble import Misbehaving

SCENARIO_SPEEDS: Final = (1.0, 20.0)
RECORDING_SPEEDS: Final = (0.01, 1000.0)


@dataclass(frozen=True, slots=True)
class Serving:
    """What is being served, told once it runs.

    Attributes:
        endpoint: where.
        t0_ns: source time of the feed's second 0, UTC nanoseconds.
        start_s: the first second published.
        tags: what is published.
        line: for whoever wants to make it misbehave.
    """

    endpoint: str
    t0_ns: int
    start_s: int
    tags: tuple[Tag, ...]
    line: Misbehaving


def check_speed(speed: float, speeds: tuple[float, float]) -> None:
    """Refuse a speed that is not between the slowest and the fastest.

    Raises:
        WrongInput: naming the range.
    """
    slowest, fastest = speeds
    if not slowest <= speed <= fastest:
        raise WrongInput(f"speed {speed:g}: this runs at {slowest:g} to {fastest:g} times real time")
