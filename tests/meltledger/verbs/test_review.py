"""``meltledger review``, from a journal that the life cycle and a machine wrote to table, JSON, workbook and exit code."""

from __future__ import annotations

import json
import time
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import pytest

from collector.machine_alarms import AlarmBook, MachineAlarm
from historian.catalogue import canonical_tag
from historian.embedded.store import EmbeddedStore
from historian.frame import NS, Frame
from historian.quality import GOOD
from historian.tags import Tag, TagKind
from rules.entry import Entry, EntryKind
from rules.finding import Evidence, Finding, Priority
from rules.journal import Journal
from tests.meltledger.test_cli import exit_code
from tests.meltledger.verbs.test_rules_verb import write
from tests.rules.review.told import MIDNIGHT, Told, at
from trials.record import TrialRecord

DAY = ("--from=2026-01-01T01:00", "--to=2026-01-01T09:00")  # Madrid: 00:00 to 08:00 UTC
PRESSURE = "filter.inlet.pressure.pv"


def keep(folder: Path, told: Told, *more: Entry) -> None:
    journal = Journal.open(folder / "data" / "journal.db")
    first = Entry("event/first", at(0), EntryKind.EVENT, data={"kind": "started", "text": "", "data": {}})
    journal.append([first, *told.entries, *more])
    journal.close()


def heartbeats(folder: Path, *seconds: float) -> None:
    """The recorder was alive at each of the seconds."""
    store = EmbeddedStore.open(folder / "data")
    tag = Tag("edge.heartbeat.state", "1", TagKind.BOOLEAN)
    number = store.register([tag])[tag.path].id
    n, times = len(seconds), [at(s) for s in seconds]
    store.append(Frame.of([number] * n, times, [1.0] * n, [GOOD] * n, arrival_ns=times[-1]))
    store.close()


def machine_tells(folder: Path, *seconds: float) -> None:
    """A machine's own alarm, which comes at each of the seconds and is over ten seconds later."""
    journal, book = Journal.open(folder / "data" / "journal.db"), AlarmBook("press")
    for n, second in enumerate(seconds):
        for active, later in ((True, 0), (False, 10)):
            alarm = MachineAlarm(
                "i=7", "filter", "High", "Process", 700, active, True, active, "p high", f"{n}{active}", 1
            )
            event = book.take(alarm, at(second + later))
            assert event is not None
            journal.event(event)
    journal.close()


def chatterer() -> Told:
    """Twelve alarms of the same kind within four minutes, and two long ones."""
    told = Told()
    for n in range(12):
        told.spell(3600 + 20 * n, 3600 + 20 * n + 12, rule="cleaning-overdue", subject="filter.wiper")
    told.spell(9000, 9900)
    told.spell(12_000, 12_900, priority=Priority.HIGH)
    return told


@pytest.fixture
def said(capsys: pytest.CaptureFixture[str]) -> Any:
    return capsys.readouterr


def asked(line: str, said: Any, *more: str, code: int) -> dict[str, Any]:
    assert exit_code("review", line, *(more or DAY), "--json") == code
    made: dict[str, Any] = json.loads(said().out)
    return made


def figures(of: dict[str, Any]) -> dict[str, tuple[float, str]]:
    return {f["key"]: (f["value"], f["judgement"]) for f in of["figures"]}


def test_a_shift_with_a_flood(tmp_path: Path, said: Any) -> None:
    line = write(tmp_path)
    keep(tmp_path, chatterer())
    made = asked(line, said, code=1)
    (ours,) = made["origins"]
    assert made["above"] and made["line"] == "pilot" and made["recorded_s"] == 8 * 3600
    assert (made["start_ns"], made["end_ns"]) == (MIDNIGHT, at(8 * 3600))
    assert ours["alarms"] == 14 and ours["most_in_hour"] == 12
    found = figures(ours)
    assert found["most in 10 min"] == (12, "above")
    assert found["time in flood"] == (pytest.approx(100 / 48), "above")
    assert found["10 min above 10"] == (pytest.approx(100 / 48), "above")
    assert found["per hour"] == (14 / 8, "not enough data")
    assert found["per day"] == (None, "not enough data")
    assert found["ten most frequent"] == (pytest.approx(100), "not enough data")
    assert found["chattering or fleeting"] == (12, "above")
    assert [f["alarms"] for f in ours["floods"]] == [12]
    assert ours["floods"][0]["after_upset"] == "hard to cope with"
    assert ours["grades"] == {"medium": 13, "high": 1}
    assert ours["most_frequent"][0]["rule"] == "cleaning-overdue"
    warnings = " ".join(made["warnings"])
    assert (
        "Recorded: 8 h; at least 30 days are asked for" in warnings
        and "must not be multiplied up" in warnings
    )


def test_what_to_change_is_proposed_with_its_backtest(tmp_path: Path, said: Any) -> None:
    line = write(tmp_path)
    keep(tmp_path, chatterer())
    proposal = asked(line, said, code=1)["proposals"][0]
    assert (proposal["rule"], proposal["delays"]) == ("cleaning-overdue", {"on_s": 0, "off_s": 10})
    test = proposal["backtest"]
    assert (test["before"], test["after"], test["chattering_after"]) == (12, 1, 0)
    assert proposal["on_delay_parameter"] == "held_s" and proposal["off_delay_parameter"] is None
    assert proposal["dead_band"] is None, "there are no samples"


def test_a_dead_band_comes_from_the_stores_samples(tmp_path: Path, said: Any) -> None:
    line = write(tmp_path)
    keep(tmp_path, chatterer())
    store = EmbeddedStore.open(tmp_path / "data")
    number = store.register([canonical_tag(PRESSURE)])[PRESSURE].id
    times = at(3000) + np.arange(2000) * NS
    noise = np.random.default_rng(5).normal(120, 0.5, 2000)
    store.append(Frame.of(np.full(2000, number), times, noise, np.full(2000, GOOD), arrival_ns=at(5000)))
    store.close()
    band = asked(line, said, code=1)["proposals"][0]["dead_band"]
    assert band["unit"] == "bar" and band["value"] == pytest.approx(1.5, rel=0.2)
    assert list(band["noises"]) == [PRESSURE] and band["now"] is None


def test_a_machines_own_alarms_are_counted_beside_ours_and_together(tmp_path: Path, said: Any) -> None:
    line = write(tmp_path)
    told = Told()
    told.spell(9000, 9900)
    keep(tmp_path, told)
    machine_tells(tmp_path, *range(600, 1200, 60))
    made = asked(line, said, code=1)
    ours, press, together = made["origins"]
    assert [o["origin"] for o in made["origins"]] == ["rules", "press", "together"]
    assert (ours["alarms"], press["alarms"], together["alarms"]) == (1, 10, 11)
    assert len(press["floods"]) == 1 and not ours["floods"]
    assert press["grades"] == {"error": 10}
    assert [p["where"] for p in made["proposals"] if p["origin"] == "press"] == [
        "at the machine, as its manual says"
    ]


def test_a_quiet_line_is_good_but_not_said_to_be_within(tmp_path: Path, said: Any) -> None:
    line = write(tmp_path)
    told = Told()
    told.spell(9000, 9900)
    keep(tmp_path, told)
    made = asked(line, said, code=0)
    assert {j for _, j in figures(made["origins"][0]).values()} == {"not enough data"}
    month = ("--from=2026-01-01T01:00", "--to=2026-02-01T01:00")
    assert {j for _, j in figures(asked(line, said, *month, code=0)["origins"][0]).values()} >= {"within"}


def gap(start: float, end: float) -> Entry:
    evidence = Evidence(at(start), at(end), ("edge.heartbeat.state",), {})
    one = Finding(
        "recording-gap", "edge.heartbeat", True, at(end), at(start), Priority.LOW, "", "", evidence, True
    )
    return Entry("1/finding/gap", at(end), EntryKind.FINDING, one.rule, one.subject, "rules", one.to_json())


def test_what_was_not_recorded_does_not_count_as_quiet(tmp_path: Path, said: Any) -> None:
    line = write(tmp_path)
    told = Told()
    told.spell(9000, 9900)
    keep(tmp_path, told, gap(14_400, 40_000))
    made = asked(line, said, code=0)
    assert made["recorded_s"] == 14_400
    assert figures(made["origins"][0])["per hour"][0] == 0.25
    assert any("nothing was recorded for 4 h" in w for w in made["warnings"])


def test_the_time_after_the_last_heartbeat_does_not_count_either(tmp_path: Path, said: Any) -> None:
    line = write(tmp_path)
    told = Told()
    told.spell(9000, 9900)
    keep(tmp_path, told)
    heartbeats(tmp_path, 18_000)
    assert asked(line, said, code=0)["recorded_s"] == 18_000


def test_a_line_without_a_word_in_its_journal_was_recorded_from_its_first_heartbeat(
    tmp_path: Path, said: Any
) -> None:
    line = write(tmp_path)
    Journal.open(tmp_path / "data" / "journal.db").close()
    heartbeats(tmp_path, *range(7200, 18_001, 60))
    made = asked(line, said, code=0)
    assert (made["start_ns"], made["recorded_s"]) == (at(7200), 10_800)
    assert made["origins"][0]["alarms"] == 0


def test_the_table_for_people(tmp_path: Path, said: Any) -> None:
    line = write(tmp_path)
    keep(tmp_path, chatterer())
    assert exit_code("review", line, *DAY) == 1
    text = said().out
    for words in (
        "Alarm review of pilot, 2026-01-01 01:00:00+01:00 to 2026-01-01 09:00:00+01:00",
        "Beside the published figures",
        "maximum alarms in one 10-min period",
        "seen in secondary text",
        "2026-01-01 02:00:00 CET",  # the flood's start, in the site's zone
        "hard to cope with",
        "the rule has no off-delay to set",
        "Whoever owns the alarm decides",
    ):
        assert words in text
    row = next(r for r in text.splitlines() if "maximum alarms in one 10-min period" in r)
    assert "12 ABOVE" in row and "<=10" in row


def test_the_workbook(tmp_path: Path, said: Any) -> None:
    line, book = write(tmp_path), tmp_path / "review.xlsx"
    keep(tmp_path, chatterer())
    assert exit_code("review", line, *DAY, "--excel", str(book)) == 1
    sheets = openpyxl.load_workbook(book)
    assert sheets.sheetnames == ["figures", "counts", "most frequent", "floods", "what to change", "about"]
    figures_page = [[c.value for c in row] for row in sheets["figures"].iter_rows()]
    assert figures_page[0][:3] == ["alarms of", "figure", "here"] and len(figures_page) == 12
    assert sheets["floods"]["B2"].value == datetime(2026, 1, 1, 1, 0)
    assert "must not be multiplied up" in " ".join(str(r[1].value) for r in sheets["about"].iter_rows())


def test_a_trials_window_and_the_last_hours(tmp_path: Path, said: Any) -> None:
    line = write(tmp_path)
    keep(tmp_path, chatterer())
    record = TrialRecord.open(tmp_path / "data" / "trials.db")
    trial = record.open_trial("Flakes", customer="", code_name="", start_ns=at(8000), plan={})
    record.close_trial(trial.id, at(10_000))
    record.close()
    made = asked(line, said, "--trial", "Flakes", code=0)
    assert (made["start_ns"], made["end_ns"]) == (at(8000), at(10_000)) and made["origins"][0]["alarms"] == 1
    before_ns = time.time_ns()
    last = asked(line, said, "--last", "8h", code=0)
    assert last["end_ns"] - last["start_ns"] == 8 * 3600 * NS
    assert before_ns <= last["end_ns"] <= time.time_ns()


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ((), "give one of --from (and --to), --trial and --last"),
        (("--last", "8h", "--trial", "x"), "give one of --from"),
        (("--to", "2026-01-01"), "give one of --from"),
        (("--last", "soon"), "is no length of time; such as 8h"),
        (("--trial", "x"), "no trial is named 'x'"),
        (("--from", "2026-01-02", "--to", "2026-01-01"), "is empty; it must begin before it ends"),
        (("--from", "2025-01-01", "--to", "2025-01-02"), "tells nothing of that window"),
    ],
)
def test_wrong_use_ends_with_2_and_says_what_to_do(
    tmp_path: Path, said: Any, options: tuple[str, ...], words: str
) -> None:
    line = write(tmp_path)
    keep(tmp_path, chatterer())
    assert exit_code("review", line, *options) == 2
    assert words in said().err


def test_without_a_journal_it_says_so(tmp_path: Path, said: Any) -> None:
    assert exit_code("review", write(tmp_path), *DAY) == 2
    assert "there is no journal here yet; start `meltledger run` first" in said().err
    assert not (tmp_path / "data").exists(), "a review makes nothing"
