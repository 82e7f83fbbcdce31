"""The outbox on disk: each digest once to each recipient, in order, until it is there."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from historian.errors import StoredDataDamaged, StoreReadOnly
from historian.frame import NS
from rules.digest.delivery import DOUBT_NS, Fate, Outcome, doubts, empty
from rules.digest.outbox import FIRST_PAUSE_NS, LONGEST_PAUSE_NS, Letter, Outbox, Post, State

T0 = 1_795_600_000 * NS


@pytest.fixture
def outbox(tmp_path: Path) -> Iterator[Outbox]:
    box = Outbox(tmp_path / "outbox.db")
    yield box
    box.close()


class Clock:
    def __init__(self) -> None:
        self.now = T0

    def __call__(self) -> int:
        return self.now

    def later(self, ns: int) -> None:
        self.now += ns


@dataclass
class Carried:
    """A carrier that does what it is told: one fate after another, the last one goes on."""

    fates: list[Fate]
    names: list[str] = field(default_factory=list)

    def carry(self, post: Post, handing_over: Callable[[], None]) -> Outcome:
        fate = self.fates.pop(0) if len(self.fates) > 1 else self.fates[0]
        if fate in (Fate.SENT, Fate.DOUBT):
            handing_over()
            self.names.append(post.name)
        return Outcome(fate, str(fate))


def letter(name: str, to: str = "mail:a") -> Letter:
    return Letter(to, name, name.encode())


def states(box: Outbox) -> dict[str, State]:
    return {p.name: p.state for p in box.in_state(*State)}


def test_a_recipient_gets_a_digest_once_however_often_it_is_made(outbox: Outbox) -> None:
    assert outbox.put("shift/1", [letter("one"), letter("two", "mail:b")], T0) == 2
    assert outbox.put("shift/1", [letter("again"), letter("new", "mail:c")], T0) == 1
    carrier = Carried([Fate.SENT])
    empty(outbox, {"mail": carrier}, Clock())
    outbox.put("shift/1", [letter("once more")], T0)
    empty(outbox, {"mail": carrier}, Clock())
    assert carrier.names == ["one", "two", "new"]


def test_what_is_in_it_outlives_the_process(tmp_path: Path) -> None:
    first = Outbox(tmp_path / "outbox.db")
    first.put("shift/1", [letter("one")], T0, made_until_ns=T0 + 5)
    first.close()
    second = Outbox(tmp_path / "outbox.db")
    (post,) = second.due(T0)
    assert (post.name, post.body, post.state) == ("one", b"one", State.WAITING)
    assert second.made_until_ns(T0 + 99) == T0 + 5
    second.close()


def test_a_new_outbox_begins_now(outbox: Outbox) -> None:
    assert outbox.made_until_ns(T0) == outbox.made_until_ns(T0 + 7) == T0


def test_while_the_server_is_away_it_waits_with_growing_pauses_and_keeps_the_order(outbox: Outbox) -> None:
    clock, carrier = Clock(), Carried([Fate.LATER])
    outbox.put("shift/1", [letter("one")], T0)
    outbox.put("shift/2", [letter("two")], T0)
    outbox.put("shift/2", [letter("other", "mail:b")], T0)
    pauses = []
    for _ in range(9):
        empty(outbox, {"mail": carrier}, clock)
        (first,) = [p for p in outbox.in_state(State.WAITING) if p.name == "one"]
        pauses.append(first.next_ns - clock.now)
        clock.later(pauses[-1] - 1)
        assert "one" not in {p.name for p in outbox.due(clock())}
        clock.later(1)
    minutes = [p // FIRST_PAUSE_NS for p in pauses]
    assert minutes == [1, 2, 4, 8, 16, 32, 60, 60, 60] and pauses[-1] == LONGEST_PAUSE_NS
    assert {p.name: p.tries for p in outbox.in_state(State.WAITING)}["two"] == 0, "none overtakes"
    carrier.fates = [Fate.SENT]
    empty(outbox, {"mail": carrier}, clock)
    assert [n for n in carrier.names if n != "other"] == ["one", "two"]


def test_one_recipient_does_not_hold_up_another(outbox: Outbox) -> None:
    outbox.put("shift/1", [letter("a", "post:x"), letter("b", "mail:b")], T0)
    mail = Carried([Fate.SENT])
    empty(outbox, {"mail": mail, "post": Carried([Fate.LATER])}, Clock())
    assert states(outbox) == {"a": State.WAITING, "b": State.SENT}


def test_a_refused_one_is_not_tried_again_and_holds_nothing_up(outbox: Outbox) -> None:
    outbox.put("shift/1", [letter("one")], T0)
    outbox.put("shift/2", [letter("two")], T0)
    carrier = Carried([Fate.REFUSED, Fate.SENT])
    told = empty(outbox, {"mail": carrier}, Clock())
    assert [(t.post.name, t.outcome.fate) for t in told] == [("one", Fate.REFUSED), ("two", Fate.SENT)]
    assert states(outbox) == {"one": State.REFUSED, "two": State.SENT}


def test_what_may_have_arrived_is_told_and_not_sent_again_by_itself(outbox: Outbox) -> None:
    clock, carrier = Clock(), Carried([Fate.DOUBT, Fate.SENT])
    outbox.put("shift/1", [letter("one")], T0)
    empty(outbox, {"mail": carrier}, clock)
    for _ in range(3):
        clock.later(3600 * NS)
        empty(outbox, {"mail": carrier}, clock)
    assert carrier.names == ["one"]
    (doubt,) = doubts(outbox, clock() - DOUBT_NS)
    assert doubt.name == "one" and doubts(outbox, clock() + 1) == []
    outbox.again(doubt, clock())
    empty(outbox, {"mail": carrier}, clock)
    assert carrier.names == ["one", "one"] and states(outbox) == {"one": State.SENT}


def test_handed_over_is_on_disk_before_the_step(outbox: Outbox) -> None:
    seen: list[str] = []

    class Looks:
        def carry(self, post: Post, handing_over: Callable[[], None]) -> Outcome:
            for step in (lambda: None, handing_over):
                step()
                with sqlite3.connect(outbox.path) as other:
                    seen.append(other.execute("SELECT state FROM posts").fetchone()[0])
                other.close()
            return Outcome(Fate.SENT, "250")

    outbox.put("shift/1", [letter("one")], T0)
    empty(outbox, {"mail": Looks()}, Clock())
    assert seen == ["waiting", "handed over"] and states(outbox) == {"one": State.SENT}


def test_two_processes_do_not_send_at_the_same_time(outbox: Outbox, tmp_path: Path) -> None:
    outbox.put("shift/1", [letter("one")], T0)
    other, carrier = Outbox(tmp_path / "outbox.db"), Carried([Fate.SENT])
    with other.emptying() as mine:
        assert mine
        assert empty(outbox, {"mail": carrier}, Clock()) == []
        assert doubts(outbox, 0) == []
    other.close()
    empty(outbox, {"mail": carrier}, Clock())
    assert carrier.names == ["one"]


def test_a_way_that_the_line_has_no_more_waits(outbox: Outbox) -> None:
    outbox.put("shift/1", [letter("one", "post:x")], T0)
    assert empty(outbox, {"mail": Carried([Fate.SENT])}, Clock()) == []
    assert states(outbox) == {"one": State.WAITING}


def test_what_is_no_outbox_is_told(tmp_path: Path) -> None:
    (tmp_path / "outbox.db").write_bytes(b"no database at all" * 100)
    with pytest.raises(StoredDataDamaged, match=r"outbox\.db"):
        Outbox(tmp_path / "outbox.db")
    (tmp_path / "file").write_text("")
    with pytest.raises(StoreReadOnly, match="check the folder"):
        Outbox(tmp_path / "file" / "outbox.db")


def test_an_outbox_of_a_later_form_is_left_alone(tmp_path: Path) -> None:
    Outbox(tmp_path / "outbox.db").close()
    with sqlite3.connect(tmp_path / "outbox.db") as db:
        db.execute("UPDATE meta SET value = '2' WHERE key = 'schema'")
    db.close()
    with pytest.raises(StoredDataDamaged, match="form 2, this program reads form 1"):
        Outbox(tmp_path / "outbox.db")
