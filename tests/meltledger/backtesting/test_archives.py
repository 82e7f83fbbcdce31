"""Stored trials are found in folders, and what people told comes with them."""

from __future__ import annotations

import json
from contextlib import closing
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from historian.errors import WrongInput
from historian.exchange.parquet import TAGS_KEY
from historian.frame import NS
from meltledger.backtesting.archives import archives, opened
from rules.entry import Act, ActKind
from rules.journal import Journal
from rules.seen.told import Told
from simulator.chronicle import chronicle
from simulator.parquet_file import write_parquet as write_simulated
from simulator.scenarios.file import load_scenario
from tests.rules.detectors.signals import T0_NS, tags_of
from tests.support.stored_trial import write_trial


def test_a_folder_of_trials_is_each_of_them_and_a_trial_is_itself(tmp_path: Path) -> None:
    for name in ("b", "a"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "recent.db").touch()
    (tmp_path / "c.parquet").touch()
    (tmp_path / "notes.txt").touch()
    named = [tmp_path / n for n in ("a", "b", "c.parquet")]
    assert archives([tmp_path]) == named
    assert archives([tmp_path / "b", tmp_path]) == [named[1], named[0], named[2]]
    assert archives([tmp_path / "nowhere"]) == [tmp_path / "nowhere"]


def test_marks_of_the_journal_and_what_the_laboratory_found_are_told(tmp_path: Path) -> None:
    folder = write_trial(tmp_path / "t")
    with closing(Journal.open(folder / "journal.db")) as journal:
        journal.record_act(Act(0, T0_NS, "anna", "engineer", ActKind.MARK, text="knives changed"))
        journal.record_act(Act(0, T0_NS, "anna", "engineer", ActKind.NOTE, text="a note"))
    found = {
        "time_ns": T0_NS + NS,
        "kind": "lab-result",
        "data": {"values": {"tails": {"value": 2, "unit": "%"}}},
    }
    (folder / "events.json").write_text(json.dumps({"laboratory": [found]}), encoding="utf-8")
    with opened(folder) as trial:
        assert trial.told == [
            Told(T0_NS + NS, "lab tails", 2.0, "%"),
            Told(T0_NS, "knives changed", trial.told[1].value),
        ]
        assert sum(len(f) for _, f in trial.frames) == sum(len(f) for _, f in trial.frames) > 50_000


def test_events_that_cannot_be_read_are_named(tmp_path: Path) -> None:
    folder = write_trial(tmp_path / "t")
    (folder / "events.json").write_text('{"people": [3]}', encoding="utf-8")
    with pytest.raises(WrongInput, match=r"events\.json"), opened(folder):
        pass


def test_a_simulated_parquet_file_reads_with_its_truth_and_its_events(tmp_path: Path) -> None:
    scenario = load_scenario("trial_day")
    file = tmp_path / "day.parquet"
    rows = write_simulated(file, scenario, T0_NS, end_s=120)
    with opened(file) as trial:
        frames = [f for _, f in trial.frames]
        assert sum(len(f) for f in frames) == rows
        assert trial.tags["filter.plate.1.temp.pv"].unit == "Cel"
        assert trial.truth is not None
        assert {t.id for t in trial.truth} == {e["id"] for e in chronicle(scenario, T0_NS, 10).truth}


def _file(path: Path, **columns: pa.Array) -> Path:
    listed = json.dumps([t.to_json() for t in tags_of(["die.pressure.pv"]).values()]).encode()
    pq.write_table(pa.table(columns).replace_schema_metadata({TAGS_KEY: listed}), path)
    return path


@pytest.mark.parametrize(
    ("columns", "words"),
    [
        ({"value": pa.array([1.0])}, "no column 'tag'"),
        ({"tag": pa.array(["die.pressure.pv"]), "value": pa.array([1.0])}, "no column 'time'"),
        (
            {"tag": pa.array(["water.flow.pv"]), "value": pa.array([1.0]), "time_ns": pa.array([T0_NS])},
            "'water.flow.pv' is not among",
        ),
        (
            {"tag": pa.array(["die.pressure.pv"]), "value": pa.array(["hot"]), "time_ns": pa.array([T0_NS])},
            "cannot be read",
        ),
    ],
)
def test_a_file_in_another_form_is_refused_with_its_name(
    tmp_path: Path, columns: dict[str, pa.Array], words: str
) -> None:
    file = _file(tmp_path / "odd.parquet", **columns)
    with pytest.raises(WrongInput, match=words) as wrong, opened(file):
        pass
    assert str(file) in str(wrong.value)


def test_a_value_that_is_not_there_is_bad(tmp_path: Path) -> None:
    file = _file(
        tmp_path / "holes.parquet",
        tag=pa.array(["die.pressure.pv"] * 2),
        value=pa.array([60.0, None]),
        time_ns=pa.array([T0_NS, T0_NS + NS]),
    )
    with opened(file) as trial:
        ((_, frame),) = trial.frames
    assert frame.value[0] == 60.0 and np.isnan(frame.value[1])
    assert frame.quality[0] == 0 and frame.quality[1] >= 0x80000000


def test_a_file_that_does_not_tell_its_tags_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "plain.parquet"
    pq.write_table(pa.table({"x": [1]}), file)
    with pytest.raises(WrongInput, match="does not say what its tags are"), opened(file):
        pass
