"""The power goes at any moment: what was acknowledged is there, whatever the disk made of the rest."""

from __future__ import annotations

import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from random import Random

import pytest

from historian import EmbeddedStore
from historian.embedded.recent import Synchronous
from historian.embedded.upkeep import Upkeep
from historian.retention import Keep
from tests.historian.durability.checks import check
from tests.historian.durability.ledger import Ledger
from tests.historian.durability.life import PHASES, Life
from tests.historian.durability.nursery import ROOT
from tests.historian.durability.sent import DAY, HOUR, TAGS, arrival_of
from tests.support.platter import Platter
from tests.support.shadow import Kind, Record, Shadow, records

pytestmark = [pytest.mark.compiler, pytest.mark.timeout(1800)]
RAW, MINUTES = 24 * HOUR, 3 * DAY
FOLDER = "lines/line-1"
KEEP = Keep(raw_ns=RAW, minute_ns=MINUTES)


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


@dataclass(frozen=True, slots=True)
class Cut:
    """What a power cut has left.

    Attributes:
        disk: the folder.
        ledger: as it stood at that moment.
        where: words that name the cut.
    """

    disk: Path
    ledger: Ledger
    where: str


def cuts(
    shadow: Shadow, life: Life, count: int, chance: Random, before: bytes = b"", nosync: str = ""
) -> Iterator[Cut]:
    """Power cuts in one life, early ones first, each on a disk of its own.

    Args:
        before: notes of the lives before this one.
        nosync: pattern of the files whose syncs do nothing.
    """
    platter = Platter.of(shadow.root)
    command = [sys.executable, "-m", "tests.historian.durability.life", life.text()]
    subprocess.run(command, env=shadow.environment(nosync=nosync), check=True, cwd=ROOT)
    diary = list(records(shadow.diary))
    done = 0
    for moment in chosen(diary, count, chance):
        platter.take(diary[done:moment])
        done = moment
        disk = shadow.beside / f"cut{moment}"
        platter.cut(disk, chance)
        ledger = Ledger(life.seed, RAW, MINUTES, may_lose=life.synchronous == "normal")
        for line in (before + platter.notes).decode().splitlines():
            ledger.take(line)
        assert not ledger.faults, ledger.faults
        yield Cut(disk, ledger, f"seed {life.seed}, record {moment}, at {ledger.open}")


def survived(cut: Cut) -> None:
    """Fail unless the store opens on what a cut has left, holds what it must, and goes on from there."""
    folder = cut.disk / FOLDER
    try:
        if cut.ledger.acked == 0:
            # Until its first frame is there, a store may need its writer to open it.
            store = EmbeddedStore.open(folder)
            store.register(TAGS)
            store.close()
        upto = check(folder, cut.ledger, quick=True)
        keeper = Upkeep.open(folder, "line 1", KEEP)
        cut.ledger.now_ns = arrival_of(upto)
        keeper.step(cut.ledger.now_ns)
        keeper.close()
        check(folder, cut.ledger)
    except Exception as error:
        raise AssertionError(f"{cut.where}: {error!r}") from error


def life_on(disk: Path, seed: int, frames: int, synchronous: Synchronous = "full") -> Life:
    """A life on a disk."""
    folder = str(disk / FOLDER)
    return Life(folder, seed, frames, beside=False, synchronous=synchronous, raw_ns=RAW, minute_ns=MINUTES)


LONG = (pytest.mark.long, pytest.mark.timeout(1800))


@pytest.mark.parametrize(
    ("synchronous", "seed", "lives", "count"),
    [
        ("full", 1, 2, 5),
        ("normal", 2, 1, 4),
        pytest.param("full", 3, 6, 30, marks=LONG),
        pytest.param("normal", 4, 4, 20, marks=LONG),
    ],
)
def test_a_power_cut_at_any_moment_loses_and_doubles_nothing(
    tmp_path: Path, library: Path, synchronous: Synchronous, seed: int, lives: int, count: int
) -> None:
    """Lives follow one another, each on the disk that a cut in the one before has left."""
    chance = Random(seed)
    disk = tmp_path / "disk"
    disk.mkdir()
    noted = b""
    for number in range(lives):
        shadow = Shadow(library, disk, tmp_path / f"life{number}")
        for cut in cuts(shadow, life_on(disk, seed, 65, synchronous), count, chance, noted):
            # The next life goes on from the disk as it is before anybody has mended it.
            disk = shutil.copytree(cut.disk, cut.disk.with_suffix(".next"))
            survived(cut)
        noted += shadow.notes.read_bytes()


@pytest.mark.parametrize(
    ("nosync", "frames"),
    [
        ("*/recent.db-wal", 40),
        ("*/archive/*.parquet", 40),
        *(
            pytest.param(pattern, 120, marks=pytest.mark.long)
            for pattern in (
                "*/recent.db",
                "*/lines",
                "*/archive",
                "*/archive/line=line%201/*",
                "*/archive/manifest.json.new",
                "*/rollups",
                "*/rollups/*.parquet",
                "*/rollups/manifest.json.new",
            )
        ),
    ],
)
def test_a_sync_that_is_left_out_is_noticed(tmp_path: Path, library: Path, nosync: str, frames: int) -> None:
    chance = Random(3)
    for number in range(6):
        disk = tmp_path / str(number)
        disk.mkdir()
        shadow = Shadow(library, disk, tmp_path / f"beside{number}")
        for cut in cuts(shadow, life_on(disk, number, frames), 30, chance, nosync=nosync):
            try:
                survived(cut)
            except AssertionError:
                return
    pytest.fail(f"syncs of {nosync} could be left out")
