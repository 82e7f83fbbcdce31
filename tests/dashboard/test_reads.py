"""The line's reads on a real store and journal."""

from __future__ import annotations

import threading
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from dashboard import acts
from dashboard.views import Trust
from historian.event import Event
from historian.frame import NS
from rules.entry import ActKind

from .conftest import END_NS, GAP_S, SPAN_S, START_NS, SmallLine, plate_finding, raise_alarm


def test_the_line_now(full_line: SmallLine) -> None:
    view = full_line.reads().live(END_NS)
    assert view.headline.startswith("Plate 5 is losing heat")
    assert "Running for" in view.headline
    assert "75 % of the trigger" in view.outlook
    assert len(view.readings) == 7
    assert {r.trust for r in view.readings} == {Trust.LIVE}
    assert len(view.cleanings) == 12
    assert view.cleanings[-1].before_bar == pytest.approx(45.4, abs=0.6)
    assert view.cleanings[-1].after_bar < view.cleanings[-1].before_bar - 10
    assert view.alarms[0].key == "heater-power|filter.plate.5"
    assert view.trial == "Trial T-2031-07 “Lindental”"
    assert view.clock == "11:00:00 CEST"
    assert view.wiper == "wiping"
    assert view.zones.startswith("plate 5 −")


def test_sources_say_whether_they_deliver(full_line: SmallLine) -> None:
    sources = {s.name: s for s in full_line.reads().live(END_NS).sources}
    assert sources["filter-plc"].delivers
    assert not sources["scale"].delivers
    assert sources["scale"].sentence == (
        "scale: no data yet. waiting for scale at opc.tcp://10.0.4.22:4840: next try in 4 s"
    )


def test_seven_seconds_after_the_last_sample_nothing_is_shown_as_live(full_line: SmallLine) -> None:
    view = full_line.reads().live(END_NS + 6 * NS)
    assert all(r.trust is Trust.LOST for r in view.readings)
    # The screen's own figure hangs on the wiper's state.
    assert all(r.text == "" and r.why.startswith("no data") for r in view.readings)
    assert view.readings[0].why == "no data since 10:59:59 (source lost)"
    assert view.outlook == ""
    assert "The feed is not known now." in view.headline
    assert "Running for" not in view.headline
    later = full_line.reads().live(END_NS + 40 * NS)
    assert later.headline.startswith("No data since 10:59:59: the line's state is not known now.")
    assert later.outlook == ""
    assert not later.flowing


def test_an_empty_store_waits(empty_line: SmallLine) -> None:
    status = {"name": "filter-plc", "state": "waiting", "text": "waiting for filter-plc at opc.tcp://h:4840"}
    empty_line.journal.event(Event(START_NS, "filter-plc", "source-waiting", status["text"], status))
    reads = empty_line.reads()
    view = reads.live(START_NS)
    assert view.headline.startswith("No data has arrived yet")
    assert "waiting for filter-plc at opc.tcp://h:4840" in view.headline
    assert reads.newest_arrival_ns() == 0
    assert reads.timeline(*reads.window(START_NS), 500).rows == ()
    assert [m.name for m in reads.machines(START_NS)][:3] == ["Feed", "Extruder", "Melt filter"]


def test_an_act_reaches_the_journal_and_shows_until_it_is_taken(empty_line: SmallLine) -> None:
    raise_alarm(empty_line.journal, empty_line.cycle, plate_finding(at_ns=START_NS))
    reads, now_ns = empty_line.reads(), START_NS + 5 * NS
    number = reads.record(acts.seen("heater-power", "filter.plate.5", "ana", now_ns))
    [act] = empty_line.journal.acts_after(0)
    assert (act.id, act.what, act.by, act.role) == (number, ActKind.SEEN, "ana", "operator")
    assert reads.live(now_ns).alarms[0].asked == "seen: noted"
    assert reads.live(now_ns + 30 * NS).alarms[0].asked == ""


def test_a_mark_can_be_taken_back_and_both_stay_in_the_journal(empty_line: SmallLine) -> None:
    reads = empty_line.reads()
    number = reads.record(acts.mark("bale changed", "ana", START_NS + NS))
    [mark] = reads.live(START_NS + 2 * NS).marks
    assert (mark.id, mark.text, mark.clock) == (number, "bale changed", "08:00")
    reads.record(acts.take_back(number, mark.text, "ana", START_NS + 3 * NS))
    assert reads.live(START_NS + 4 * NS).marks == ()
    assert reads.timeline(START_NS, START_NS + 60 * NS, 500).notes == ()
    assert len(empty_line.journal.acts_after(0)) == 2


def test_the_ledger_holds_what_happened(full_line: SmallLine) -> None:
    reads = full_line.reads()
    window = reads.window(END_NS)
    assert window[0] == START_NS
    made = reads.timeline(*window, 800)
    assert made.title == "T-2031-07 “Lindental”"
    assert made.axis == "Europe/Madrid (UTC+2)"
    assert [t.text for t in made.settings] == ["400 to 640 kg/h"]
    assert len(made.cleanings) == 44
    assert [line.key for line in made.lines] == ["heater-power|filter.plate.5"]
    assert [t.text for t in made.notes] == ["lot 7 <b>in</b>"]
    assert "steady" in {p.text for p in made.phases}
    assert [r.title for r in made.rows][:3] == ["Melt pressure", "Pressure difference", "Feed"]
    feed = next(r for r in made.rows if r.title == "Feed")
    assert [g.text for g in feed.gaps] == ["no data 09:06–09:09 (source lost)"]
    assert feed.gaps[0].start_ms == (START_NS + GAP_S[0] * NS) / 1e6 + 7_200_000
    melt = next(r for r in made.rows if r.title == "Melt temperature").curves[0]
    assert melt.uncertain.any()
    assert len(melt.value) <= 4 * 800 + 10


def test_a_close_look_gives_the_samples_themselves(full_line: SmallLine) -> None:
    start_ns = START_NS + 3600 * NS
    made = full_line.reads().timeline(start_ns, start_ns + 60 * NS, 800)
    curve = made.rows[0].curves[0]
    inside = curve.time_ms >= start_ns / 1e6 + 7_200_000
    assert np.diff(curve.time_ms[inside]).tolist() == [1000.0] * 59


def test_evidence_is_found_and_acts_stand_beside_it(full_line: SmallLine) -> None:
    seen = full_line.reads().evidence("heater-power|filter.plate.5", END_NS)
    assert seen is not None
    assert ("below set point", "7.4 K") in seen.figures
    assert full_line.reads().evidence("heater-power|nothing", END_NS) is None


def test_one_reading_a_second_for_all_who_ask(full_line: SmallLine, monkeypatch: pytest.MonkeyPatch) -> None:
    reads = full_line.reads()
    first = reads.live(END_NS)
    calls: list[int] = []
    monkeypatch.setattr(reads, "_read_live", lambda now_ns: calls.append(now_ns) or first)
    assert reads.live(END_NS + 1) is first
    assert calls == []
    reads.live(END_NS + NS)
    assert calls == [END_NS + NS]


def test_many_threads_get_whole_answers(full_line: SmallLine) -> None:
    reads, wrong = full_line.reads(), list[Any]()

    def ask(n: int) -> None:
        try:
            view = reads.live(END_NS + n * NS)
            made = reads.timeline(START_NS + n * 600 * NS, START_NS + (n + 1) * 600 * NS, 300)
            if len(view.readings) != 7 or not made.rows:
                wrong.append((view, made))
        except Exception as error:
            wrong.append(error)

    threads = [threading.Thread(target=ask, args=(n,)) for n in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert wrong == []


def test_new_samples_are_seen_in_the_next_second(empty_line: SmallLine) -> None:
    reads = empty_line.reads()
    empty_line.feed(0, 60)
    assert reads.live(START_NS + 60 * NS).readings[0].text != ""
    assert not reads.live(START_NS + 66 * NS).readings[0].text
    empty_line.feed(60, 66)
    view = reads.live(START_NS + 67 * NS)
    assert view.readings[0].trust is Trust.LIVE
    assert replace(view.readings[0], text="").title == "Throughput"


def test_the_machines_stand_in_flow_order_with_their_half_hour(full_line: SmallLine) -> None:
    machines = full_line.reads().machines(END_NS)
    assert [m.name for m in machines] == [
        "Feed",
        "Extruder",
        "Melt filter",
        "Die",
        "Pelletizer",
        "Process water",
    ]
    pressure = machines[2].rows[0]
    assert pressure.reading.title == "Melt pressure before the screen"
    points = [p for p in pressure.spark if p is not None]
    assert len(points) > 100
    assert all(-0.01 <= y <= 1.01 for _, y in points)
    assert max(x for x, _ in points) <= 1.01
    plate = next(r for r in machines[2].rows if r.path == "filter.plate.5.temp.pv")
    assert plate.span.startswith("set 220 · out ")
    assert SPAN_S > 1800
