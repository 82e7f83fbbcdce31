"""How tags get their numbers."""

from __future__ import annotations

import pytest

from historian import Tag, UnitMismatch
from historian.registry import numbered


def test_numbers_of_tags_rise_and_never_change() -> None:
    known = {"water.flow.pv": Tag("water.flow.pv", "m3/h", id=7)}
    new = [Tag("water.level.pv", "mm"), Tag("water.flow.pv", "m3/h", text="new"), Tag("water.level.pv", "mm")]
    found = numbered(known, new)
    assert {p: t.id for p, t in found.items()} == {"water.level.pv": 8, "water.flow.pv": 7}
    assert numbered({**known, **found}, new) == {}
    with pytest.raises(UnitMismatch, match="kept in mm"):
        numbered(found, [Tag("water.level.pv", "m")])
