"""Health from what was counted: rates, clocks, tags, and when a line does not do its work."""

from __future__ import annotations

import json
from dataclasses import fields
from math import isnan, nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector import SourceCounts, SourceState
from collector.health.figures import (
    ON_THE_WAY_S,
    STATE_NUMBERS,
    Health,
    Look,
    SourceHealth,
    StoreHealth,
    clock_offset_s,
    health_of,
    health_tags,
    in_path,
    values_of,
)
from collector.keeping.flow import FlowNow
from historian import NS
from historian.catalogue import OF_THE_RECORDER, SOURCE_STATES, meaning_of
from historian.tags import check_path
from historian.units import ucum


def look(
    second: float, received: int = 0, state: SourceState = SourceState.CONNECTED, flow: FlowNow | None = None
) -> Look:
    at_ns = int(second * NS)
    return Look(at_ns, at_ns, state, 0, SourceCounts(received=received, rejected=3), flow or FlowNow())


def press(state: SourceState = SourceState.CONNECTED, **changes: int) -> SourceHealth:
    flow = FlowNow(2, 90 * NS, NS // 5, NS, NS // 10)
    return health_of("press-1", look(0), look(60, 600, state, flow))


def test_a_source_is_told_from_two_looks() -> None:
    health = press()
    assert (health.rate_per_s, health.connected_s, health.gaps, health.gap_s) == (10.0, 60.0, 2, 90.0)
    assert (health.lag_s, health.worst_lag_s) == (0.2, 1.0)
    assert health.counts.rejected == 3


def test_what_is_not_known_is_no_number_and_no_sample() -> None:
    health = health_of("press-1", look(5), look(5))
    assert isnan(health.rate_per_s) and isnan(health.lag_s) and isnan(health.clock_offset_s)
    values = values_of(Health(0, 0, (health,), StoreHealth(0, 0.0)))
    assert "edge.source.press_1.rate.calc" not in values
    assert "edge.store.disk.free.calc" not in values
    assert values["edge.source.press_1.state"] == 1.0


@given(st.floats(-1e6, 1e6), st.floats(0.0, ON_THE_WAY_S))
def test_the_clocks_offset_lies_within_its_uncertainty(ahead_s: float, way_s: float) -> None:
    """A sample that was on its way for so long, from a clock that is ahead by so much."""
    offset_s, uncertainty_s = clock_offset_s(FlowNow(least_lag_ns=int((way_s - ahead_s) * NS)))
    assert abs(offset_s - ahead_s) <= uncertainty_s + 1e-6


def test_every_figure_has_a_tag_that_the_catalogue_knows() -> None:
    tags = {t.path: t for t in health_tags(["press-1", "7"])}
    store = StoreHealth(1, 0.5, 25.0, 100.0)
    values = values_of(Health(0, 0, (press(),), store))
    assert set(values) < set(tags)
    assert values["edge.store.disk.free.calc"] == 25.0
    for path, tag in tags.items():
        meaning = meaning_of(check_path(path))
        assert meaning is not None and tag.unit == ucum(meaning.unit)
        assert tag.source == "edge" and "*" not in tag.text and tag.text != path
    patterns = {p.replace(".press_1.", ".*.").replace(".7.", ".*.") for p in tags}
    assert patterns == set(OF_THE_RECORDER)
    assert {s.value for s in STATE_NUMBERS} == {s.value for s in SourceState}
    assert sorted(STATE_NUMBERS.values()) == sorted(SOURCE_STATES)


def test_every_count_has_its_tag() -> None:
    values = values_of(Health(0, 0, (press(),), StoreHealth(0, 0.0)))
    for field in fields(SourceCounts):
        assert f"edge.source.press_1.{field.name}.{'calc' if field.name == 'waiting' else 'total'}" in values


@given(st.lists(st.from_regex(r"[a-z0-9][a-z0-9-]{0,20}", fullmatch=True), unique=True))
def test_sources_with_different_names_have_different_tags(names: list[str]) -> None:
    assert len({in_path(n) for n in names}) == len(names)


@pytest.mark.parametrize(
    ("state", "age_s", "said"),
    [
        (SourceState.CONNECTED, 1.0, []),
        (SourceState.LOST, 1.0, ["source press-1 is lost"]),
        (SourceState.WAITING, 1.0, ["source press-1 is waiting"]),
        (SourceState.CONNECTED, 11.0, ["the store has taken nothing for 11 s; 7 samples wait in memory"]),
    ],
)
def test_a_line_says_why_it_does_not_do_its_work(state: SourceState, age_s: float, said: list[str]) -> None:
    health = Health(0, 0, (press(state),), StoreHealth(7, age_s))
    assert health.reasons(10.0) == said
    told = json.loads(json.dumps(health.to_json(), allow_nan=False))
    assert told["sources"]["press-1"]["state"] == state
    assert told["store"]["disk_free_bytes"] is None


def test_nothing_known_is_told_as_nothing() -> None:
    assert isnan(StoreHealth(0, nan).disk_bytes)
    assert Health(0, 0, (), StoreHealth(0, nan)).to_json()["store"]["commit_age_s"] is None
