"""How long a rule could not judge."""

from __future__ import annotations

import json

from historian.frame import NS
from rules.finding import Blind
from rules.seen.blindness import Blindness

HOUR = 1_900_000_800  # a whole hour, seconds


def told(blindness: Blindness, whys: list[tuple[int, str | None]]) -> list[Blind]:
    return [b for s, why in whys for b in blindness.note((HOUR + s) * NS, why)]


def spell(begin: int, end: int, why: str) -> Blind:
    return Blind("a-rule", "", (HOUR + begin) * NS, (HOUR + end) * NS, why)


def test_a_spell_is_told_when_it_is_over():
    whys = [(s, "melt stands" if 100 <= s < 300 else None) for s in range(0, 400, 10)]
    assert told(Blindness("a-rule"), whys) == [spell(100, 300, "melt stands")]


def test_short_spells_are_not_told():
    assert told(Blindness("a-rule"), [(0, "cleaning"), (50, "cleaning"), (110, None)]) == []


def test_another_reason_is_another_spell():
    whys: list[tuple[int, str | None]] = [
        (s, "no pressure" if s < 200 else "melt stands") for s in range(0, 500, 10)
    ]
    assert told(Blindness("a-rule"), [*whys, (500, None)]) == [
        spell(0, 200, "no pressure"),
        spell(200, 500, "melt stands"),
    ]


def test_a_long_spell_is_told_every_hour():
    found = told(Blindness("a-rule"), [(s, "melt stands") for s in range(0, 7300, 10)])
    assert found == [spell(0, 3600, "melt stands"), spell(3600, 7200, "melt stands")]


def test_a_pause_of_the_data_is_not_blindness_of_the_rule():
    whys: list[tuple[int, str | None]] = [(s, "melt stands") for s in range(0, 300, 10)]
    assert told(Blindness("a-rule"), [*whys, (2000, None)]) == [spell(0, 290, "melt stands")]


def test_it_goes_on_after_a_restart():
    one = Blindness("a-rule")
    told(one, [(0, "melt stands"), (200, "melt stands")])
    again = Blindness("a-rule")
    again.restore(json.loads(json.dumps(one.save())))
    assert told(again, [(240, None)]) == [spell(0, 240, "melt stands")]
