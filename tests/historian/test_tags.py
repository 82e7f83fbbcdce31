"""Tags: canonical paths only, nothing lost on the way through JSON."""

from __future__ import annotations

import pytest

from historian.catalogue import CATALOGUE, canonical_tag, meaning_of
from historian.errors import WrongInput
from historian.tags import Tag, TagKind, check_path, pattern_of, place_of
from historian.units import ucum


@pytest.mark.parametrize(
    "path", ["Filter.plate", "filter", "filter..pv", "filter.plate 3.pv", "", "a." + "b" * 300]
)
def test_paths_that_are_not_canonical_are_refused(path: str) -> None:
    with pytest.raises(WrongInput, match="tag path"):
        check_path(path)


@pytest.mark.parametrize("pattern", CATALOGUE)
def test_catalogue_has_a_known_unit_and_a_true_range(pattern: str) -> None:
    meaning = CATALOGUE[pattern]
    assert ucum(meaning.unit) == meaning.unit
    assert meaning.low < meaning.high
    check_path(pattern.replace("*", "1"))


@pytest.mark.parametrize("pattern", CATALOGUE)
def test_tag_survives_json(pattern: str) -> None:
    tag = canonical_tag(pattern.replace("*", "12"), source="plc", simulated=True)
    assert Tag.from_json(tag.to_json()) == tag


def test_place_and_pattern() -> None:
    assert place_of("extruder.zone.12.temp.pv") == 12
    assert pattern_of("extruder.zone.12.temp.pv") == "extruder.zone.*.temp.pv"
    assert canonical_tag("filter.plate.3.temp.pv").text == "heater plate 3, temperature"


def test_gauge_and_absolute_are_said() -> None:
    assert canonical_tag("filter.inlet.pressure.pv").reference == "gauge"
    assert canonical_tag("extruder.vent.1.pressure.pv").reference == "absolute"


def test_a_path_of_the_users_own_takes_the_users_unit() -> None:
    assert meaning_of("press.ram.force.pv") is None
    tag = canonical_tag("press.ram.force.pv", unit="N.m")
    assert (tag.unit, tag.kind, tag.holds) == ("N.m", TagKind.ANALOG, False)
