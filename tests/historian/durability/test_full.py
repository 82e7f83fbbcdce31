"""A disk that is full: loud, nothing lost, nothing doubled, and all goes on when there is space again."""

from __future__ import annotations

import subprocess
import sys

import pytest

from tests.historian.durability.nursery import ROOT
from tests.support.shadow import Shadow

pytestmark = [pytest.mark.compiler, pytest.mark.timeout(600)]


@pytest.mark.parametrize(
    "what",
    [
        "appending",
        "keeping",
        "letting go",
        "collecting",
        pytest.param("keeping at every block", marks=[pytest.mark.long, pytest.mark.timeout(1800)]),
    ],
)
def test_a_full_disk(shadow: Shadow, what: str) -> None:
    """See the function of that name in ``full.py``: it runs under the layer."""
    command = [sys.executable, "-m", "tests.historian.durability.full", what]
    done = subprocess.run(
        command, env=shadow.environment(), cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr[-4000:]
    assert shadow.times_full() > 0
