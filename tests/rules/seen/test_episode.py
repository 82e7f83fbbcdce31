"""On-delay and off-delay."""

from __future__ import annotations

import json

from hypothesis import given
from hypothesis import strategies as st

from historian.frame import NS
from rules.seen.episode import Episode, Episodes


def judged(episode: Episode, seconds: list[bool | None]) -> list[tuple[int, int]]:
    """Second and change, of one judgement a second."""
    changes = [(n, episode.judge(n * NS, holds)) for n, holds in enumerate(seconds)]
    return [(n, change) for n, change in changes if change]


@given(st.integers(1, 60))
def test_it_begins_after_the_on_delay_and_not_before(hold_s: int):
    assert judged(Episode(hold_s, 0), [False] + [True] * hold_s) == []
    assert judged(Episode(hold_s, 0), [False] + [True] * (hold_s + 1)) == [(hold_s + 1, 1)]


@given(st.integers(2, 60), st.data())
def test_a_dip_begins_the_delay_anew(hold_s: int, data: st.DataObject):
    dip = data.draw(st.integers(1, hold_s))
    seen: list[bool | None] = [True] * (2 * hold_s)
    seen[dip] = False
    assert all(n >= dip + 1 + hold_s for n, _ in judged(Episode(hold_s, 0), seen))


def test_its_onset_is_where_it_was_first_seen():
    episode = Episode(5, 3)
    assert judged(episode, [False, False] + [True] * 6 + [False, True] + [False] * 4) == [(7, 1), (13, -1)]
    assert episode.onset_ns == 10 * NS  # of its end


def test_what_cannot_be_judged_changes_nothing_and_is_no_evidence():
    assert judged(Episode(3, 3), [True, True, None, True, True, True, True]) == [(6, 1)]
    assert judged(Episode(0, 0), [True, None, None, True]) == [(0, 1)]


def test_subjects_are_apart_and_saved():
    episodes = Episodes(0, 10)
    assert episodes["a"].judge(0, True) == 1 and episodes["b"].judge(0, False) == 0
    again = Episodes(0, 10)
    again.restore(json.loads(json.dumps(episodes.save())))
    assert again["a"].standing and not again["b"].standing
