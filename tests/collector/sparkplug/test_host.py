"""What a host concludes from births, deaths, numbers that are missing, and what is late."""

from __future__ import annotations

import math
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector import SourceMapping, TagMapping, tags_of
from collector.complaints import Complaints
from collector.reading.mapping import TYPE_MISMATCH
from collector.reading.readings import Readings
from collector.sparkplug.host import Delivery, Host
from collector.sparkplug.samples import COMPLAINTS
from collector.sparkplug.topic import read_address
from historian.frame import Frame
from historian.quality import BAD, GOOD, LAST_USABLE, NO_COMMUNICATION, NO_DATA
from historian.tags import Tag
from tests.support.sparkplug_peer import (
    BYTES,
    DATASET,
    DOUBLE,
    INT,
    STRING,
    M,
    nbirth,
    ndeath,
    payload,
)

NS, MS = 1_000_000_000, 1_000_000
T0 = 1_790_000_000_000  # milliseconds
MAPPING = SourceMapping(
    "line",
    "mqtt://x",
    False,
    (
        TagMapping("own.hall.pv", "n1//hall", "1"),
        TagMapping("own.a.pv", "n1/dev/a", "1"),
        TagMapping("own.b.pv", "n1/dev/b", "1"),
        TagMapping("own.c.pv", "n2/dev/c", "1"),
    ),
)
HALL, A, B, C = 1, 2, 3, 4
Row = tuple[int, float, float, int]


def tags_with_numbers() -> dict[str, Tag]:
    from dataclasses import replace

    return {t.path: replace(t, id=k) for k, t in enumerate(tags_of([MAPPING]), 1)}


class Played:
    """A host to which messages are given, with what it delivers as rows: tag, ms since T0, value, quality."""

    def __init__(self, texts: tuple[str, ...] = ("n1/dev/word",)) -> None:
        self.complaints = Complaints("line", COMPLAINTS)
        self.host = Host(
            "line",
            "g",
            [read_address(t.address) for t in MAPPING.tags],
            [read_address(t) for t in texts],
            Readings.of(MAPPING.tags, tags_with_numbers()),
            self.complaints,
            wrong_unit=lambda place, unit: "in furlongs" if (place, unit) == (2, "furlong") else None,
        )
        self.now_ms = T0
        self.confirmed: list[int] = []
        self.resent: list[bool] = []

    def say(self, verb: str, body: bytes, device: str = "", node: str = "n1") -> list[Row]:
        topic = f"spBv1.0/g/{verb}/{node}" + (f"/{device}" if device else "")
        return self._rows(self.host.hear(topic, body, self.now_ms * MS))

    def wait(self, s: float) -> list[Row]:
        self.now_ms += int(s * 1000)
        return self._rows(self.host.due(self.now_ms * MS))

    def asked(self) -> list[str]:
        return self.host.rebirths(self.now_ms * MS)

    def told(self, kind: str) -> list[str]:
        return [t.text for t in self.host.tale.take() if t.kind == kind]

    def _rows(self, deliveries: list[Delivery]) -> list[Row]:
        self.confirmed = [d.confirmed_ns // MS - T0 if d.confirmed_ns else 0 for d in deliveries]
        self.resent = [d.columns.resent for d in deliveries]
        return [
            (tag, time_ns / MS - T0, value, quality)
            for d in deliveries
            for tag, time_ns, value, quality, _ in d.columns.rows()
        ]

    def late(self) -> list[Row]:
        frame = self.host.late.due(2**62)
        if frame is None:
            return []
        assert isinstance(frame, Frame)
        columns = (c.tolist() for c in (frame.tag, frame.time_ns, frame.value, frame.quality))
        return [(t, n / MS - T0, v, q) for t, n, v, q in zip(*columns, strict=True)]

    def be_born(self, *, ms: int = 0, bd_seq: int = 0, aliases: tuple[int, int] = (1, 2)) -> list[Row]:
        """The node and its device, with a = 1 and b = 2."""
        rows = self.say(
            "NBIRTH", nbirth(M("hall", 9, T0 + ms, 10, (DOUBLE, 20.0)), ms=T0 + ms, bd_seq=bd_seq)
        )
        return rows + self.say("DBIRTH", dbirth(ms, aliases), "dev")


def dbirth(ms: int, aliases: tuple[int, int] = (1, 2), seq: int = 1) -> bytes:
    return payload(
        M("a", aliases[0], T0 + ms, 10, (DOUBLE, 1.0)),
        M("b", aliases[1], T0 + ms, 10, (DOUBLE, 2.0)),
        M("word", 3, T0 + ms, 12, (STRING, "up")),
        M("spare", 4, T0 + ms, 10, (DOUBLE, 0.0)),
        ms=T0 + ms,
        seq=seq,
    )


def data(seq: int | None, ms: int, *metrics: M) -> bytes:
    return payload(*metrics, ms=T0 + ms, seq=seq)


def a(value: float, ms: int, **more: object) -> M:
    return M(alias=1, ms=T0 + ms, value=(DOUBLE, value), **more)  # type: ignore[arg-type]


@pytest.fixture
def line() -> Played:
    return Played()


def bad(rows: list[Row], quality: int) -> set[int]:
    """The tags that have nothing but a mark of this quality."""
    assert all(math.isnan(v) and q == quality for _, _, v, q in rows)
    return {tag for tag, *_ in rows}


def test_births_tell_values_and_what_is_nobody_s(line: Played) -> None:
    assert line.be_born() == [(HALL, 0, 20.0, GOOD), (A, 0, 1.0, GOOD), (B, 0, 2.0, GOOD)]
    assert line.confirmed == [0]  # of the device: T0 itself
    own, device = line.told("node-born")
    assert "1 of its metrics are tags" in own and "Node Control/Rebirth" in own
    assert "2 of its metrics are tags; 1 are nobody's (spare)" in device
    assert line.host.unborn == [3]


def test_data_by_alias_and_by_name(line: Played) -> None:
    line.be_born()
    by_name = M("b", ms=T0 + 12, value=(DOUBLE, 8.0))
    assert line.say("DDATA", data(2, 20, a(7.0, 11), by_name), "dev") == [
        (A, 11, 7.0, GOOD),
        (B, 12, 8.0, GOOD),
    ]
    assert line.say("NDATA", data(3, 30, M(alias=9, ms=T0 + 30, value=(DOUBLE, 21.0)))) == [
        (HALL, 30, 21.0, GOOD)
    ]
    assert line.asked() == []


def test_an_alias_may_be_zero(line: Played) -> None:
    line.be_born(aliases=(0, 1))
    assert line.say("DDATA", data(2, 5, M(alias=0, ms=T0 + 5, value=(DOUBLE, 4.0))), "dev") == [
        (A, 5, 4.0, GOOD)
    ]


def test_null_quality_and_wrong_types_are_bad_or_uncertain(line: Played) -> None:
    line.be_born()
    rows = line.say(
        "DDATA",
        data(
            2,
            9,
            M(alias=1, ms=T0 + 1, null=True),
            M(alias=1, ms=T0 + 2, null=True, properties={"Quality": 0, "StatusCode": 0x808C_0000}),
            a(3.0, 3, properties={"Quality": 500}),
            a(4.0, 4, properties={"Quality": 0}),
            M(alias=1, ms=T0 + 5, value=(STRING, "hot")),
            M(alias=1, ms=T0 + 6),
            M(alias=1, ms=T0 + 7, value=(BYTES, b"xx")),
            M(alias=1, ms=T0 + 8, value=(DATASET, b"")),
        ),
        "dev",
    )
    assert [q for *_, q in rows] == [BAD, 0x808C_0000, LAST_USABLE, BAD, *[TYPE_MISMATCH] * 4]
    assert [v for _, _, v, _ in rows][2] == 3.0 and sum(math.isnan(v) for _, _, v, _ in rows) == 7
    assert line.complaints.total == 4


def test_a_metric_whose_type_is_no_number_is_left_out_and_said(line: Played) -> None:
    line.say("NBIRTH", nbirth(M("hall", 9, T0, 16, (DATASET, b"")), ms=T0))
    assert "hall: dataset is no number" in line.told("node-born")[0]
    assert line.say("NDATA", data(1, 1, M(alias=9, ms=T0 + 1, value=(DATASET, b"")))) == []
    assert line.complaints.total == 2
    assert line.asked() == []


def test_a_metric_in_another_unit_is_left_out_and_said(line: Played) -> None:
    line.say("NBIRTH", nbirth(ms=T0))
    units = {"engUnit": "furlong"}
    body = payload(
        M("a", 1, T0, 10, (DOUBLE, 1.0), properties=units),
        M("b", 2, T0, 10, (DOUBLE, 2.0), properties=units),
        ms=T0,
        seq=1,
    )
    assert line.say("DBIRTH", body, "dev") == [(A, 0, 1.0, GOOD)]
    assert "b: in furlongs" in line.told("node-born")[-1]
    assert line.host.unborn == [0, 2, 3]


def test_texts_are_told_when_they_change(line: Played) -> None:
    line.be_born()
    word = M(alias=3, ms=T0 + 1, value=(STRING, "down"))
    assert line.say("DDATA", data(2, 1, word), "dev") == []
    assert line.say("DDATA", data(3, 2, word), "dev") == []
    assert line.told("text") == ["n1/dev/word: up", "n1/dev/word: down"]


def test_times_that_are_missing(line: Played) -> None:
    line.be_born()
    line.now_ms += 50
    no_time = M(alias=1, value=(DOUBLE, 5.0))
    assert line.say("DDATA", data(2, 40, no_time), "dev") == [(A, 40, 5.0, GOOD)]
    assert line.say("DDATA", payload(no_time, seq=3), "dev") == [(A, 50, 5.0, GOOD)]
    assert line.host.sampler.unstamped == 2


def test_messages_that_overtook_each_other_are_put_in_order(line: Played) -> None:
    line.be_born()
    assert line.say("DDATA", data(4, 30, a(4, 30)), "dev") == []
    assert line.say("DDATA", data(3, 20, a(3, 20)), "dev") == []
    assert [v for _, _, v, _ in line.say("DDATA", data(2, 10, a(2, 10)), "dev")] == [2, 3, 4]
    assert (line.wait(5.0), line.asked()) == ([], [])


def test_numbers_go_round(line: Played) -> None:
    line.be_born()
    for k in range(2, 600):
        assert len(line.say("DDATA", data(k % 256, k, a(k, k)), "dev")) == 1
    assert (line.wait(5.0), line.asked()) == ([], [])


def test_a_birth_that_was_overtaken_by_its_devices(line: Played) -> None:
    line.be_born()
    for k in range(2, 60):
        line.say("DDATA", data(k, k, a(k, k)), "dev")
    line.now_ms += 1000
    assert line.say("DBIRTH", dbirth(1000), "dev") == []
    rows = line.say("NBIRTH", nbirth(M("hall", 9, T0 + 1000, 10, (DOUBLE, 22.0)), ms=T0 + 1000))
    assert rows == [(HALL, 1000, 22.0, GOOD), (A, 1000, 1.0, GOOD), (B, 1000, 2.0, GOOD)]
    assert (line.wait(5.0), line.asked()) == ([], [])


def test_a_missing_message_is_a_gap_and_asks_for_a_rebirth(line: Played) -> None:
    line.be_born()
    line.say("DDATA", data(2, 100, a(2, 100)), "dev")
    assert line.say("DDATA", data(4, 300, a(4, 300)), "dev") == []
    assert (line.wait(1.9), line.asked()) == ([], [])
    marks = line.wait(0.2)
    assert bad(marks, NO_DATA) == {HALL, A, B}
    # What was sent before the loss is known: the marks lie behind it, at the time of the loss.
    assert [t for _, t, _, _ in marks] == [100, 101, 100]
    assert line.asked() == ["n1"]
    assert "1 of its messages are missing" in line.told("rebirth-asked")[0]
    assert sum(n.missed for n in line.host.nodes.values()) == 1
    # By the same aliases as before, what was held back is taken; it is older than the birth.
    line.say("DDATA", data(5, 400, a(5, 400)), "dev")
    line.say("NBIRTH", nbirth(M("hall", 9, T0 + 2500, 10, (DOUBLE, 20.0)), ms=T0 + 2500))
    rows = line.say("DBIRTH", dbirth(2500), "dev")
    assert rows == [(A, 300, 4, GOOD), (A, 400, 5, GOOD), (A, 2500, 1.0, GOOD), (B, 2500, 2.0, GOOD)]
    assert line.resent == [True, True, False]
    assert line.say("DDATA", data(2, 2600, a(6, 2600)), "dev") == [(A, 2600, 6, GOOD)]
    assert line.asked() == []


def test_what_was_held_back_is_not_mixed_up_when_aliases_have_changed(line: Played) -> None:
    line.be_born()
    line.say("DDATA", data(3, 300, a(4, 300)), "dev")
    line.wait(2.1)
    line.say("NBIRTH", nbirth(M("hall", 9, T0 + 2500, 10, (DOUBLE, 20.0)), ms=T0 + 2500))
    rows = line.say("DBIRTH", dbirth(2500, aliases=(2, 1)), "dev")
    assert rows == [(A, 2500, 1.0, GOOD), (B, 2500, 2.0, GOOD)]
    assert line.host.nodes["n1"].missed == 2
    assert line.say("DDATA", data(2, 2600, a(6, 2600)), "dev") == [(B, 2600, 6, GOOD)]


def test_data_before_a_birth_ask_for_one_and_ever_more_rarely(line: Played) -> None:
    asked = []
    for s in range(200):
        line.say("DDATA", data(s % 256, s * 1000, a(1, s * 1000)), "dev")
        asked += [s] if line.asked() else []
        line.now_ms += 1000
    assert asked == [0, 5, 15, 35, 75, 135, 195]
    assert "asked 6 times in vain" in line.told("rebirth-asked")[-1]
    assert line.host.sampler.received == 0


def test_a_node_that_does_not_answer_is_believed_in_the_end(line: Played) -> None:
    line.be_born()
    line.say("DDATA", data(3, 300, a(4, 300)), "dev")
    assert bad(line.wait(2.1), NO_DATA) == {HALL, A, B}
    assert line.wait(27.8) == []
    assert line.wait(2.0) == [(A, 300, 4, GOOD)]
    assert line.say("DDATA", data(4, 34000, a(5, 34000)), "dev") == [(A, 34000, 5, GOOD)]


def test_an_unknown_alias_asks_for_a_rebirth_and_loses_nothing_else(line: Played) -> None:
    line.be_born()
    rows = line.say("DDATA", data(2, 5, M(alias=77, ms=T0 + 5, value=(DOUBLE, 1.0)), a(3, 5)), "dev")
    assert rows == [(A, 5, 3, GOOD)]
    assert line.asked() == ["n1"]
    assert line.complaints.total == 1


def test_a_death_marks_every_tag_of_the_node_at_once(line: Played) -> None:
    line.be_born(bd_seq=7)
    line.say("DDATA", data(2, 1500, a(3, 1500)), "dev")
    line.now_ms += 1000
    # Its own time is that of the connection, long ago: the death counts from its arrival.
    marks = line.say("NDEATH", ndeath(7, T0 - 10_000))
    assert bad(marks, NO_COMMUNICATION) == {HALL, A, B}
    # Never before what is known.
    assert [t for _, t, _, _ in marks] == [1000, 1501, 1000]
    assert line.say("NDEATH", ndeath(7)) == []
    line.now_ms += 3000
    rows = line.be_born(ms=7000, bd_seq=8)
    assert [(tag, t) for tag, t, *_ in rows] == [(HALL, 7000), (A, 7000), (B, 7000)]


def test_the_death_of_an_earlier_session_is_ignored(line: Played) -> None:
    line.be_born(bd_seq=8)
    assert line.say("NDEATH", ndeath(7)) == []
    assert line.host.nodes["n1"].stale_deaths == 1
    assert line.host.nodes["n1"].alive


def test_a_death_without_a_number_counts_and_is_asked_after(line: Played) -> None:
    line.be_born()
    assert bad(line.say("NDEATH", ndeath(None)), NO_COMMUNICATION) == {HALL, A, B}
    assert line.asked() == ["n1"]


def test_a_death_comes_in_the_clock_of_a_node_whose_clock_is_off(line: Played) -> None:
    line.now_ms += 3_600_000  # the node's clock is an hour behind
    line.be_born()
    line.now_ms += 10_000
    assert [t for _, t, _, _ in line.say("NDEATH", ndeath(0))] == [10_000] * 3


def test_a_device_dies_when_it_says(line: Played) -> None:
    line.be_born()
    line.now_ms += 3000
    marks = line.say("DDEATH", data(2, 2900), "dev")
    assert bad(marks, NO_COMMUNICATION) == {A, B}
    assert [t for _, t, _, _ in marks] == [2900, 2900]
    # Nothing is to be known of it before it is born again.
    assert line.say("DDATA", data(3, 3000, a(3, 3000)), "dev") == []
    assert line.asked() == ["n1"]
    # An unchanged value is known again from the birth on, not from its last change.
    assert line.say(
        "DBIRTH", payload(M("a", 1, T0 - 5000, 10, (DOUBLE, 1.0)), ms=T0 + 4000, seq=4), "dev"
    ) == [(A, 4000, 1.0, GOOD)]


def test_a_device_s_death_at_an_incredible_time_counts_from_its_arrival(line: Played) -> None:
    line.be_born()
    line.now_ms += 3000
    marks = line.say("DDEATH", payload(ms=5, seq=2), "dev")
    assert [t for _, t, _, _ in marks] == [3000, 3000]


def test_a_device_that_is_not_born_with_its_node_is_gone(line: Played) -> None:
    line.be_born()
    line.now_ms += 1000
    line.say("NBIRTH", nbirth(M("hall", 9, T0 + 1000, 10, (DOUBLE, 20.0)), ms=T0 + 1000))
    assert line.wait(9.9) == []
    assert bad(line.wait(0.2), NO_COMMUNICATION) == {A, B}
    assert line.wait(20) == []


def test_another_session_without_a_death_is_a_gap(line: Played) -> None:
    line.be_born(bd_seq=1)
    line.say("DDATA", data(2, 500, a(3, 500)), "dev")
    rows = line.be_born(ms=3000, bd_seq=2)
    assert [(tag, t, q) for tag, t, _, q in rows] == [
        (HALL, 500, NO_DATA),
        (A, 501, NO_DATA),
        (B, 500, NO_DATA),
        (HALL, 3000, GOOD),
        (A, 3000, GOOD),
        (B, 3000, GOOD),
    ]


def test_a_birth_that_repeats_what_is_known_says_nothing(line: Played) -> None:
    line.be_born()
    line.say("DDATA", data(2, 100, a(3, 100)), "dev")
    again = payload(
        M("a", 1, T0 + 100, 10, (DOUBLE, 3.0)), M("b", 2, T0 + 900, 10, (DOUBLE, 9.0)),
        M("word", 3, T0, 12, (STRING, "up")), M("spare", 4, T0, 10, (DOUBLE, 0.0)), ms=T0 + 900, seq=1,
    )  # fmt: skip
    line.say("NBIRTH", nbirth(M("hall", 9, T0, 10, (DOUBLE, 20.0)), ms=T0 + 900))
    assert line.say("DBIRTH", again, "dev") == [(B, 900, 9.0, GOOD)]
    line.told("node-born")
    line.say("NBIRTH", nbirth(M("hall", 9, T0, 10, (DOUBLE, 20.0)), ms=T0 + 900))
    assert line.told("node-born") == []
    assert line.host.nodes["n1"].repeated == 2


def test_the_broker_was_away(line: Played) -> None:
    line.be_born()
    line.say("DDATA", data(2, 100, a(3, 100)), "dev")
    line.host.unsure("the connection to the broker is new")
    line.now_ms += 60_000
    assert line.asked() == ["n1", "n2"]
    # It was not reborn meanwhile: what it says before it is comes behind the gap, once that is certain.
    assert line.say("DDATA", data(90, 60_000, a(4, 60_000)), "dev") == []
    line.say("NBIRTH", nbirth(M("hall", 9, T0, 10, (DOUBLE, 20.0)), ms=T0 + 60_100))
    rows = line.say("DBIRTH", dbirth(60_100), "dev")
    assert [(tag, t) for tag, t, *_ in rows] == [(A, 60_000), (A, 60_100), (B, 60_100)]
    assert line.confirmed == [0, 60_100]


def test_what_is_late_fills_the_gap_of_a_death(line: Played) -> None:
    line.be_born()
    line.say("DDATA", data(2, 1000, a(3, 1000)), "dev")
    line.now_ms += 2000
    assert line.say("NDEATH", ndeath(0))[1][:2] == (A, 2000)
    line.be_born(ms=9000, bd_seq=1)
    late = [a(k, k * 1000, historical=True) for k in range(1, 9)]
    assert line.say("DDATA", data(2, 9001, *late), "dev") == []
    kept = line.late()
    # The first was known; the mark at 2000 gives way to the sample, and stands behind the last of them.
    assert [(t, v) for _, t, v, q in kept if q == GOOD] == [(k * 1000, k) for k in range(1, 9)]
    assert [(t, q) for _, t, _, q in kept if q != GOOD] == [(8001, NO_DATA)]
    assert line.host.late.delivered == 8


def test_late_and_live_metrics_of_one_message_are_kept_apart(line: Played) -> None:
    line.be_born()
    rows = line.say("DDATA", data(2, 900, a(5, 100, historical=True), a(6, 900)), "dev")
    assert rows == [(A, 900, 6, GOOD)]
    assert line.late() == [(A, 100, 5, GOOD)]


def test_nodes_and_groups_that_nobody_asked_for_are_not_heard(line: Played) -> None:
    assert line.say("NBIRTH", nbirth(ms=T0), node="stranger") == []
    assert line.host.hear("spBv1.0/other/NBIRTH/n1", nbirth(ms=T0), 0) == []
    assert line.host.hear("spBv1.0/g/NCMD/n1", nbirth(ms=T0), 0) == []
    assert line.host.hear("spBv1.0/g/DDATA/n1", nbirth(ms=T0), 0) == []
    assert set(line.host.nodes) == {"n1", "n2"}


def test_births_over_and_over_are_told_once_a_minute(line: Played) -> None:
    for k in range(1000):
        line.say("NBIRTH", nbirth(M("hall", k, T0 + k, 10, (DOUBLE, 20.0)), ms=T0 + k))
        line.now_ms += 100
    told = line.told("node-born")
    assert len(told) == 2
    assert "599 times more" in told[1]


@given(st.lists(st.tuples(st.integers(0, 5), st.integers(0, 400), st.integers(0, 2**32)), max_size=40))
@settings(deadline=None, max_examples=150)
def test_whatever_is_said_in_whatever_order_is_taken(said: list[tuple[int, int, int]]) -> None:
    line = Played()
    for verb, seq, seed in said:
        rng = random.Random(seed)
        metrics = [
            M(
                rng.choice([None, "a", "b", "hall", "bdSeq", "\0"]),
                rng.choice([None, 0, 1, 2, 2**64 - 1]),
                rng.choice([None, 0, T0 + rng.randrange(10**6), 2**63]),
                rng.choice([None, 3, 10, 16, 99]),
                rng.choice([None, (DOUBLE, math.nan), (DOUBLE, 1e308), (INT, 5), (STRING, "x")]),
                historical=rng.random() < 0.3,
                null=rng.random() < 0.2,
            )
            for _ in range(rng.randrange(6))
        ]
        body = payload(*metrics, ms=rng.choice([None, 0, T0 + rng.randrange(10**6)]), seq=seq)
        name = ["NBIRTH", "NDEATH", "NDATA", "DBIRTH", "DDEATH", "DDATA"][verb]
        for _, _, value, quality in line.say(name, body, "dev" if name[0] == "D" else ""):
            # A number is never bad, and nothing is good that is no number.
            assert math.isfinite(value) != bool(quality & BAD)
        line.wait(rng.choice([0, 0.1, 3, 40]))
        line.late()


@pytest.mark.parametrize("long", [False, pytest.param(True, marks=pytest.mark.long)])
def test_hostile_payloads_disturb_nothing_else(long: bool, line: Played) -> None:
    rng = random.Random(11)
    line.be_born()
    whole = [nbirth(M("hall", 9, T0, 10, (DOUBLE, 20.0)), ms=T0), dbirth(0), data(3, 5, a(1, 5))]
    for k in range(10_000 if long else 500):
        body = bytearray(rng.choice(whole))
        for _ in range(rng.randrange(1, 6)):
            body[rng.randrange(len(body))] = rng.randrange(256)
        verb = rng.choice(["NBIRTH", "NDATA", "NDEATH"])
        line.say(verb, bytes(body[: rng.randrange(1, len(body) + 1)]), node="n2")
        line.say("NDATA", rng.randbytes(rng.randrange(60)), node="n2")
        ms = 100 + k
        assert line.say("DDATA", data((k + 2) % 256, ms, a(k, ms)), "dev") == [(A, ms, k, GOOD)]
    assert line.complaints.total > 100
    event = line.complaints.due(1)
    assert event is not None and "no Sparkplug B" in event.text
    assert line.asked().count("n1") == 0
