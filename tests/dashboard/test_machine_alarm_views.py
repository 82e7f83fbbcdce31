"""The machines' own alarms on the live page: in their order and words, and honest about what is not known."""

from __future__ import annotations

from typing import Any

from dashboard.machine_alarm_views import SHOWN, own_alarms
from dashboard.now import Now
from dashboard.pages.parts import own_alarm_list
from historian.frame import NS
from historian.store import Sample
from historian.tags import Tag
from rules.entry import Entry, EntryKind

NOW_NS = 1_777_874_400 * NS
TAGS = {"filter.dp.calc": Tag("filter.dp.calc", "bar", source="filter-plc")}


def now(age_s: float = 0.5) -> Now:
    at_ns = NOW_NS - int(age_s * NS)
    return Now(TAGS, {"filter.dp.calc": Sample(at_ns, 1.0, 0, at_ns)}, NOW_NS, "Europe/Madrid")


def alarm(severity: int, message: str = "Melt pressure high", **state: Any) -> Entry:
    data = {
        "source_name": "Inlet",
        "message": message,
        "severity": severity,
        "active": True,
        "acked": False,
        **state,
    }
    return Entry("k", NOW_NS - 60 * NS, EntryKind.MACHINE, "filter-plc", "s=A", "filter-plc", {"data": data})


def test_an_alarm_is_told_in_the_machines_words_with_its_own_severity() -> None:
    assert own_alarms([alarm(713)], now()) == (
        "filter-plc, Inlet: Melt pressure high (severity 713, told at 07:59)",
    )
    assert own_alarms([alarm(713, acked=True)], now())[0].endswith("told at 07:59, acknowledged there)")
    assert own_alarms([alarm(713, active=False)], now())[0].endswith("over but not acknowledged there)")


def test_of_a_lost_machine_it_is_not_known_what_stands() -> None:
    assert own_alarms([alarm(713, acked=True)], now(60.0))[0].endswith(
        "told at 07:59, as last heard; whether it still stands is not known)"
    )


def test_the_gravest_come_first_and_the_rest_is_counted() -> None:
    lines = own_alarms([alarm(100 * n, f"m{n}") for n in range(1, 8)], now())
    assert [line.split(": ")[1][:2] for line in lines[:SHOWN]] == ["m7", "m6", "m5", "m4"]
    assert lines[SHOWN:] == ("and 3 more; the journal has them all",)


def test_nothing_stands_where_nothing_is_told() -> None:
    assert own_alarms([], now()) == ()
    assert own_alarm_list(()) is None
    assert "to be seen to there" in repr(own_alarm_list(("x",)))
