"""Lines in processes of their own, ended after each test whatever happened."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.journeys.line import LineUnderTest


@pytest.fixture
def make_line(tmp_path: Path) -> Iterator[Callable[..., LineUnderTest]]:
    made: list[LineUnderTest] = []

    def make(**options: int) -> LineUnderTest:
        made.append(LineUnderTest(tmp_path / f"line{len(made)}", **options))  # type: ignore[arg-type]
        return made[-1]

    yield make
    for line in made:
        line.end()
