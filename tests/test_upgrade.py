"""What an earlier release left on disk is read, judged again and gone on with by this one."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from meltledger.config import load
from meltledger.parts import opened
from meltledger.verbs.replay import judge_again
from rules.entry import EntryKind
from rules.replay import difference

FIXTURES = sorted((Path(__file__).parent / "fixtures").glob("[0-9]*"))


def test_every_release_has_left_a_fixture() -> None:
    assert [f.name for f in FIXTURES] == ["0.1.0"]


@pytest.mark.parametrize("fixture", FIXTURES, ids=lambda f: f.name)
def test_a_store_and_journal_of_an_earlier_release_go_on(fixture: Path, tmp_path: Path) -> None:
    folder = tmp_path / "line"
    shutil.copytree(fixture, folder)
    config = load(folder / "line.toml")
    with opened(config) as parts:
        found = parts.store.read(["filter.plate.5.i", "extruder.screw.speed.pv"], 0, 2**62)
        assert len(found["extruder.screw.speed.pv"]) >= 40
        assert found["filter.plate.5.i"].value[-1] < 0.6 < found["filter.plate.5.i"].value[0]
        entries = parts.journal.entries()
        trial = parts.trials.under_way()
        assert trial is not None
        assert [n.text for n in parts.trials.notes(trial.id)] == ["bale changed"]
        assert [a.subject for a in parts.journal.alarms()] == ["filter.plate.5"]
        assert parts.journal.alarms()[0].by == "ada"
    assert any(e.kind == EntryKind.ACT_TAKEN for e in entries)


@pytest.mark.parametrize("fixture", FIXTURES, ids=lambda f: f.name)
def test_an_earlier_release_is_judged_again_with_the_same_findings(fixture: Path, tmp_path: Path) -> None:
    folder = tmp_path / "line"
    shutil.copytree(fixture, folder)
    config = load(folder / "line.toml")
    with opened(config) as parts:
        kept = parts.journal.entries(kinds=(EntryKind.FINDING, EntryKind.TRANSITION))
    again = [e for e in judge_again(config) if e.kind in (EntryKind.FINDING, EntryKind.TRANSITION)]
    assert [e.rule for e in again if e.kind == EntryKind.FINDING] == ["heater-power"]
    assert difference(kept, again) == []
