"""``meltledger trial``: a day at the line, the laboratory's results a week later, and what a seal tells."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from historian.embedded.store import EmbeddedStore
from historian.frame import Frame
from historian.tags import Tag
from meltledger.config import load
from tests.meltledger.test_cli import exit_code
from tests.meltledger.test_config import GOOD
from tests.trials.test_photos import picture
from trials.record import TrialRecord

FORMS = """
[material]
polymer = "PE-LD"
form = "film agglomerate"
lot = "1"

[plan]
question = "Does it run at 110 um with 780 kg/h?"
throughput = "780 kg/h"

[[pre_analysis]]
what = "moisture"
value = "0.42 %"
method = "loss on drying, 105 Cel, 2 h"
"""


@pytest.fixture
def line(tmp_path: Path) -> str:
    (tmp_path / "line.toml").write_text(GOOD, encoding="utf-8")
    return str(tmp_path / "line.toml")


@pytest.fixture
def said(capsys: pytest.CaptureFixture[str]) -> Any:
    return capsys.readouterr


def _samples(line: str, values: list[float], late_by: int = 0) -> None:
    """A sample a microsecond since the trial was opened."""
    config = load(Path(line))
    with closing(TrialRecord.open(config.trials)) as record:
        start_ns = record.trials()[-1].start_ns
    with closing(EmbeddedStore.open(config.folder)) as store:
        (tag,) = store.register([Tag("filter.inlet.pressure.pv", "bar")]).values()
        n = len(values)
        time_ns = [start_ns + (late_by + k) * 1000 for k in range(n)]
        store.append(Frame.of([tag.id] * n, time_ns, values, [0] * n, arrival_ns=start_ns))


def test_a_day_and_what_comes_later(line: str, tmp_path: Path, said: Any) -> None:
    forms = tmp_path / "trial.toml"
    forms.write_text(FORMS, encoding="utf-8")
    assert exit_code("trial", "new", line, "film", "--customer", "a customer", "--code-name", "heron") == 0
    assert exit_code("trial", "fill", line, str(forms), "--by", "ada") == 0
    assert "3 written down" in said().out
    assert exit_code("trial", "fill", line, str(forms), "--by", "ada") == 0
    assert "0 written down, 3 known already" in said().out
    assert exit_code("trial", "sample", line, "P1", "--bag", "B4", "--by", "ben") == 0
    assert "entry 4: sample: name P1, of pellets, bag B4" in said().out
    _samples(line, [60.0, 61.0, 62.0])
    assert exit_code("trial", "close", line) == 0
    assert "closed and sealed: 3 samples" in said().out
    assert exit_code("trial", "verify", line, "film") == 0
    assert "as they were sealed" in said().out
    result = (
        "trial",
        "lab",
        line,
        "P1",
        "moisture",
        "< 0.05 %",
        "--method",
        "Karl Fischer",
        "--trial",
        "film",
    )
    assert exit_code(*result, "--by", "lab") == 0
    assert "an addendum: result: sample P1, what moisture, value < 0.05 %" in said().out
    assert exit_code("trial", "verify", line, "film") == 0
    said()
    assert exit_code("trial", "show", line, "--trial", "film", "--json") == 0
    record = json.loads(said().out)
    assert [e["what"] for e in record["entries"]] == [
        "material", "plan", "pre-analysis", "sample", "sealed", "result"
    ]  # fmt: skip
    assert record["entries"][-1]["addendum"] and record["trial"]["code_name"] == "heron"


def test_what_was_changed_behind_the_seal_is_told(line: str, said: Any) -> None:
    exit_code("trial", "new", line, "film")
    exit_code("trial", "note", line, "bale 7 smells", "--by", "ada")
    _samples(line, [60.0, 61.0, 62.0])
    assert exit_code("trial", "close", line) == 0
    _samples(line, [63.0], late_by=20)
    said()
    assert exit_code("trial", "verify", line, "film") == 1
    assert "filter.inlet.pressure.pv: 1 samples came after the seal." in said().out
    with sqlite3.connect(load(Path(line)).trials) as db:
        db.execute("DROP TRIGGER entries_are_not_changed")
        db.execute("UPDATE entries SET by = 'somebody' WHERE id = 1")
    assert exit_code("trial", "verify", line, "film") == 1
    assert "The record up to the seal is not as it was sealed." in said().out


def test_a_correction_stands_beside_the_old_words(line: str, said: Any) -> None:
    exit_code("trial", "new", line, "film")
    exit_code("trial", "note", line, "bale 7", "--by", "ada")
    assert exit_code("trial", "note", line, "bale 8", "--by", "ada", "--instead-of", "1") == 0
    exit_code("trial", "sample", line, "P1", "--by", "ben")
    assert exit_code("trial", "take-back", line, "3", "--why", "spilt", "--by", "ben") == 0
    said()
    exit_code("trial", "show", line)
    now = said().out
    assert "bale 8" in now and "bale 7" not in now and "P1" not in now
    exit_code("trial", "show", line, "--all")
    every = said().out
    assert "in place of 1, ada: note: text bale 7" in every and "taken back (spilt): sample: name P1" in every


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (("verify", "LINE", "film"), "was never sealed"),
        (("verify", "LINE", "fim"), "no trial is named 'fim'"),
        (("lab", "LINE", "P1", "moisture", "140 %", "--method", "x"), "cannot be: it lies between 0 and 100"),
        (("lab", "LINE", "P1", "taste", "1 %"), "'taste' is not measured"),
        (("sample", "LINE", "P1", "--at", "2999-01-01T00:00"), "still to come"),
        (("fill", "LINE", "nowhere.toml"), "there is no such file"),
        (("take-back", "LINE", "9", "--why", "x"), "no entry number 9"),
    ],
)
def test_what_is_wrong_is_told(line: str, said: Any, words: tuple[str, ...], why: str) -> None:
    exit_code("trial", "new", line, "film")
    said()
    assert exit_code("trial", *(line if w == "LINE" else w for w in words)) == 2
    assert why in said().err


def test_a_file_of_forms_is_taken_whole_or_not_at_all(line: str, tmp_path: Path, said: Any) -> None:
    exit_code("trial", "new", line, "film")
    forms = tmp_path / "trial.toml"
    forms.write_text(FORMS + "[[sample]]\nname = 'P1'\n", encoding="utf-8")
    said()
    assert exit_code("trial", "fill", line, str(forms)) == 2
    assert "trial.toml, sample 1: say when it was so" in said().err
    exit_code("trial", "show", line)
    assert "material" not in said().out
    forms.write_text("[material", encoding="utf-8")
    assert exit_code("trial", "fill", line, str(forms)) == 2
    assert "cannot be read" in said().err


def test_a_photograph_lies_beside_the_record(line: str, tmp_path: Path, said: Any) -> None:
    exit_code("trial", "new", line, "film")
    (tmp_path / "screen.jpg").write_bytes(picture())
    assert exit_code("trial", "photo", line, str(tmp_path / "screen.jpg"), "--of", "screen S-17") == 0
    assert "photo: sha256 " in said().out
    (kept,) = (load(Path(line)).trials.parent / "photos").iterdir()
    assert kept.suffix == ".jpg"
    assert exit_code("trial", "photo", line, str(tmp_path / "none.jpg"), "--of", "x") == 2
    assert "none.jpg: cannot be read" in said().err
