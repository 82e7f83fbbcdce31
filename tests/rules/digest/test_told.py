"""What people told, from a real journal to repairs and deeds."""

from __future__ import annotations

from pathlib import Path

import pytest

from historian.errors import WrongInput
from rules.digest.told import KNIVES, Deed, Repair, deeds_of, repairs_of
from rules.entry import Act, ActKind
from rules.journal import Journal
from rules.lifecycle import LifeCycle
from rules.seen.told import KNIVES_CHANGED
from tests.rules.digest.told import at

T = at("2026-11-25 09:00")


def act(what: ActKind, **more: str) -> Act:
    return Act(0, T, "A. Doe", "maintenance", what, **more)  # type: ignore[arg-type]


def test_a_repair_is_kept_as_a_note_about_its_part(tmp_path: Path) -> None:
    journal = Journal.open(tmp_path / "journal.db")
    journal.record_act(act(ActKind.REPAIRED, subject="filter.plate.5", text="new cartridge"))
    journal.record_act(act(ActKind.MARK, text=KNIVES_CHANGED))
    journal.record_act(act(ActKind.NOTE, text="bale 7 in"))
    journal.record_act(act(ActKind.SEEN, rule="a", subject="doser"))
    entries, acts = journal.entries(), journal.acts_after(0)
    journal.close()
    assert repairs_of(entries) == [
        Repair("filter.plate.5", T, "A. Doe", "new cartridge"),
        Repair(KNIVES, T, "", KNIVES_CHANGED),
    ]
    assert deeds_of(entries) == [Deed(T, KNIVES_CHANGED), Deed(T, "bale 7 in")]
    assert LifeCycle().act(acts[0], T) == [], "it changes no alarm"


@pytest.mark.parametrize(("more", "missing"), [({"text": "new"}, "subject"), ({"subject": "doser"}, "text")])
def test_a_repair_says_of_what_and_how(tmp_path: Path, more: dict[str, str], missing: str) -> None:
    journal = Journal.open(tmp_path / "journal.db")
    with pytest.raises(WrongInput, match=f"'repaired' needs {missing}"):
        journal.record_act(act(ActKind.REPAIRED, **more))
    journal.close()
