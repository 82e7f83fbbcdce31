"""The power goes at any moment: what was acknowledged is there, whatever the disk made of the rest."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from itertools import count
from pathlib import Path
from random import Random

import pytest

from historian.retention import Keep
from historian.upkeep import Upkeep
from tests.historian.durability.checks import check
from tests.historian.durability.ledger import Ledger
from tests.historian.durability.life import PHASES, Life
from tests.historian.durability.nursery import ROOT
from tests.historian.durability.sent import DAY, HOUR, arrival_of
from tests.support.platter import Platter
from tests.support.shadow import Kind, Record, Shadow, records

pytestmark = pytest.mark.compiler
RAW, MINUTES = 24 * HOUR, 3 * DAY
FOLDER = "lines/line-1"
KEEP = Keep(raw_ns=RAW, minute_ns=MINUTES)


def lived(shadow: Shadow, life: Life, nosync: str = "") -> list[Record]:
    """The diary of a life; its last words are in it as notes."""
    shadow.root.mkdir(parents=True, exist_ok=True)
    command = [sys.executable, "-m", "tests.historian.durability.life", life.text()]
    subprocess.run(command, env=shadow.environment(nosync=nosync), check=True, cwd=ROOT)
    return list(records(shadow.diary))


def chosen(diary: list[Record], wanted: int, chance: Random) -> list[int]:
    """Moments to cut at, spread over what the life was at, not over time."""
    at: dict[str, list[int]] = {}
    stack = ["open"]
    for place, record in enumerate(diary):
        if record.kind is Kind.NOTE:
            word, *rest = record.first.decode().split(None, 2)
            if word == "<":
                stack.pop()
            elif word == "=":
                stack[-1] = rest[1].strip()
            elif word == ">":
                stack.append(rest[1].strip())
            elif word == "opened":
                stack = ["between"]
        at.setdefault(stack[-1], []).append(place + 1)
    phases = [phase for phase in ("open", *PHASES) if phase in at]
    moments = {chance.choice(at[chance.choice(phases)]) for _ in range(wanted)}
    return sorted(moments | {len(diary)})


def told(ledger: Ledger, notes: bytes) -> Ledger:
    """The ledger with what has been noted by now."""
    for line in notes.decode().splitlines():
        ledger.take(line)
    return ledger


def cut(
    tmp_path: Path, library: Path, seed: int, lives: int, cuts: int, frames: int, **how: str
) -> Iterator[tuple[Path, Ledger, str]]:
    """Power cuts in lives that follow one another, each on the disk that one of the cuts before has left.

    Yields:
        the disk after a cut, what the ledger said then, and words that name the cut.
    """
    chance = Random(seed)
    disk = tmp_path / "disk"
    disk.mkdir()
    noted = b""
    number = count()
    for life in range(lives):
        shadow = Shadow(library, disk, tmp_path / f"beside{life}")
        platter = Platter.of(disk)
        diary = lived(
            shadow,
            Life(
                str(disk / FOLDER),
                seed,
                frames,
                beside=False,
                raw_ns=RAW,
                minute_ns=MINUTES,
                synchronous="normal" if how.get("synchronous") == "normal" else "full",
            ),
            how.get("nosync", ""),
        )
        done = 0
        for moment in chosen(diary, cuts, chance):
            platter.take(diary[done:moment])
            done = moment
            disk = tmp_path / f"cut{next(number)}"
            platter.cut(disk, chance)
            ledger = told(Ledger(seed, RAW, MINUTES), noted + platter.notes)
            assert not ledger.faults, ledger.faults
            yield disk, ledger, f"seed {seed}, life {life}, record {moment}, at {ledger.open}"
        noted += platter.notes


def survived(disk: Path, ledger: Ledger, where: str, *, in_doubt: int = 0) -> None:
    """Fail unless the store opens on what a cut has left, holds what it must, and goes on from there."""
    folder = disk / FOLDER
    if ledger.acked == 0 and not (folder / "recent.db").exists():
        return
    try:
        keeper = Upkeep.open(folder, "line 1", KEEP)
        check(folder, ledger, in_doubt=in_doubt)
        keeper.step(arrival_of(ledger.acked))
        keeper.close()
        check(folder, ledger, in_doubt=in_doubt)
    except Exception as error:
        raise AssertionError(f"{where}: {error}") from error


@pytest.mark.parametrize(
    ("seed", "lives", "cuts"),
    [
        pytest.param(1, 2, 8),
        pytest.param(2, 6, 40, marks=[pytest.mark.long, pytest.mark.timeout(1800)]),
    ],
)
def test_a_power_cut_at_any_moment_loses_and_doubles_nothing(
    tmp_path: Path, library: Path, seed: int, lives: int, cuts: int
) -> None:
    for disk, ledger, where in cut(tmp_path, library, seed, lives, cuts, frames=60):
        survived(disk, ledger, where)
