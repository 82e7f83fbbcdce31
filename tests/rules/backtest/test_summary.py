"""Several trials together: counts, medians and rates worked out by hand."""

from __future__ import annotations

import pytest

from rules.backtest.scoring import Score, score
from rules.backtest.summary import summary
from rules.backtest.tables import (
    FAULT_HEAD,
    as_markdown,
    as_text,
    beside,
    fault_rows,
    missed_lines,
    rule_rows,
    score_json,
    sentences,
    to_json,
)
from rules.finding import Priority
from tests.rules.backtest.made import blind, fault, quiet, record, said


def trials() -> list[Score]:
    """Found after 70 s; late after 470 s; missed, with a false alarm of medium in healthy time; a tear missed."""
    torn = fault("tear", "B19", tags=(), placed=False)
    return [
        score(record(said(found_s=1100.0)), [fault()]),
        score(record(said(found_s=1500.0)), [fault(), quiet("q", 5000.0, 5100.0)]),
        score(
            record(said("screen-torn", "filter.screen", 5000.0), blind=[blind("heater-power", 1030, 1130)]),
            [fault()],
        ),
        score(record(rules=["heater-power"]), [torn]),
    ]


def test_faults_are_counted_by_kind_and_together() -> None:
    whole = summary(trials())
    plate, tear = whole.by_fault["B1"], whole.by_fault["B19"]
    assert (plate.due, plate.found, plate.late, plate.missed, plate.blind) == (3, 1, 1, 1, 1)
    assert plate.percent == pytest.approx(100 / 3)
    assert (plate.lead_s, plate.from_onset_s) == (270.0, 300.0)  # medians of 70 and 470, of 100 and 500
    assert (plate.by, plate.first) == ({"heater-power": 2}, 2)
    assert (tear.due, tear.missed, tear.unjudged, tear.lead_s) == (1, 1, 1, None)
    assert whole.all.percent == 25.0


def test_false_alarms_are_counted_an_hour_of_healthy_running() -> None:
    """Each trial: 7200 s less 2400 s are healthy: 4800 s; four of them are 5 h 20 min."""
    whole = summary(trials())
    assert whole.recorded_h == 8.0
    assert whole.healthy_h == pytest.approx(16 / 3)
    assert whole.false_per_healthy_h(Priority.MEDIUM) == pytest.approx(3 / 16)
    assert whole.false_per_healthy_h(Priority.HIGH) == 0.0
    assert whole.by_rule["screen-torn"].false[Priority.MEDIUM] == 1
    assert whole.by_rule["heater-power"].blind_h == pytest.approx(100 / 3600)


def test_no_trial_has_no_rate() -> None:
    whole = summary([])
    assert whole.all.percent is None
    assert whole.false_per_healthy_h(Priority.LOW) is None
    assert fault_rows(whole)[-1][:2] == ["all", "0"]


def test_the_order_of_trials_changes_nothing() -> None:
    assert summary(trials()) == summary(trials()[::-1])


def test_people_read_the_same_figures() -> None:
    whole = summary(trials())
    text = as_text(FAULT_HEAD, fault_rows(whole))
    assert text[1].split()[:6] == ["B1", "3", "1", "1", "1", "0"]
    assert "4.5 min" in text[1]
    assert as_markdown(FAULT_HEAD, fault_rows(whole))[1].startswith("| --- |")
    assert ["screen-torn", "B19", "0", "0", "1", "0", "0.0"] in [list(r) for r in rule_rows(whole)]
    words = " ".join(sentences(whole))
    assert "1 medium (one in 5.33 h)" in words
    assert "1 could not be judged" in words and "1 are judged by no rule" in words
    assert "had to stay quiet: 1, disturbed: 0" in words


def test_each_one_that_is_late_missed_or_false_is_named() -> None:
    first, late, missed, tear = (missed_lines("day", s) for s in trials())
    assert first == []
    assert late == ["day: plate B1: late, heater-power after 7.8 min, due after 6.0 min"]
    assert missed[0] == "day: plate B1: missed, due after 6.0 min; not judged for 100 s"
    assert missed[1] == "day: false: screen-torn of filter.screen (medium)"
    assert "no rule of this line judges it" in tear[0]


def test_two_versions_stand_side_by_side() -> None:
    better, worse = summary(trials()[:1]), summary(trials()[2:3])
    head, rows = beside(better, worse, ("new", "old"))
    assert head[2:4] == ["found, new", "found, old"]
    assert list(rows[0]) == ["B1", "1", "1", "0", "70 s", "–", "0", "1"]
    assert list(rows[-2]) == ["false, medium", "", "0", "1", "", "", "", ""]


def test_machines_read_everything() -> None:
    data = to_json(summary(trials()))
    assert data["faults"]["B1"]["percent"] == pytest.approx(100 / 3)
    assert data["false_healthy"] == {"high": 0, "medium": 1, "low": 0}
    late = score_json(trials()[1])["found"][0]
    assert (late["outcome"], late["lead_s"], late["by"]["priority"]) == ("late", 470.0, "medium")
