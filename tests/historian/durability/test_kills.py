"""A line is killed again and again: what was acknowledged is there, once, and nothing else is."""

from __future__ import annotations

import time
from pathlib import Path
from random import Random

import pytest

from historian import EmbeddedStore
from historian.care.findings import Trouble
from historian.care.judge import judge
from historian.care.look import look
from historian.embedded.upkeep import Upkeep
from historian.retention import Keep
from tests.historian.durability.checks import check, check_beside, read_of
from tests.historian.durability.ledger import Ledger
from tests.historian.durability.life import PHASES, Life
from tests.historian.durability.nursery import Nursery, moment, nursery
from tests.historian.durability.sent import DAY, HOUR, arrival_of

RAW, MINUTES = 24 * HOUR, 3 * DAY


@pytest.mark.parametrize(
    ("seed", "kills"),
    [
        # Each kill checks all there is: on a busy machine twenty take longer than a test may by default.
        pytest.param(1, 20, marks=[pytest.mark.timeout(600)]),
        pytest.param(2, 200, marks=[pytest.mark.long, pytest.mark.timeout(1800)]),
    ],
)
def test_kills_at_any_moment_lose_and_double_nothing(tmp_path: Path, seed: int, kills: int) -> None:
    chance = Random(seed)
    folder = tmp_path / "line"
    ledger = Ledger(seed, RAW, MINUTES)
    life = Life(str(folder), seed, raw_ns=RAW, minute_ns=MINUTES)
    with nursery() as lives:
        for kill in range(kills):
            lives.start(life, ledger)
            # However slow the machine is, the last one comes to retention.
            seconds, phase = moment(chance, PHASES) if kill < kills - 1 else (60.0, "retention")
            lives.watch(ledger, seconds, phase)
            if phase:
                time.sleep(chance.choice([0.0, 0.001, 0.004, 0.015]))
            if kill % 4 == 3:
                _look_on(folder, ledger, lives)
            lives.kill(ledger)
            try:
                check(folder, ledger, quick=kills < 200 and kill % 5 != 4)
            except Exception as error:
                raise AssertionError(f"seed {seed}, kill {kill}, at {ledger.open}: {error!r}") from error
        hit = lives.hit
    assert set(PHASES) <= set(ledger.done), "a phase was never entered"
    if kills >= 200:
        # A fold is over in a millisecond; the long phases are hit often, each at least once.
        assert all(hit[phase] >= 3 for phase in ("append", "seal", "merge", "retention")), hit
        assert all(hit[phase] >= 1 for phase in PHASES), hit
    _settle(folder, ledger)


def _look_on(folder: Path, ledger: Ledger, lives: Nursery) -> None:
    """Read while the line is written."""
    store = EmbeddedStore.open(folder, mode="read")
    try:
        for _ in range(3):
            lives.follow(ledger)
            acked = ledger.acked
            found = read_of(store)
            lives.follow(ledger)
            check_beside(found, ledger, acked)
    finally:
        store.close()


def _settle(folder: Path, ledger: Ledger) -> None:
    """Once upkeep has come round undisturbed, all is done that was due and nothing lies about."""
    keeper = Upkeep.open(folder, "line 1", Keep(raw_ns=RAW, minute_ns=MINUTES))
    ledger.now_ns = arrival_of(ledger.acked) + HOUR
    for _ in range(2):
        keeper.step(ledger.now_ns)
    keeper.close()
    check(folder, ledger)
    due = {f.trouble: f.where for f in judge(look(folder)) if f.trouble is not Trouble.HOLE}
    assert not due
    store = EmbeddedStore.open(folder, mode="read")
    old = read_of(store)["time_ns"].min()
    store.close()
    # The newest hour is not sealed yet, and a day goes as a whole.
    assert old >= (ledger.now_ns - 3 * HOUR - RAW) // DAY * DAY
