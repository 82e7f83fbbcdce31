"""What the pages on checks, comparison and scale-up show can be read as it stands there."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from trials.comparison import Trait, Verdict
from trials.preanalysis import LineLimits, limits_of
from trials.scale_up import Wanted, sizes_of_text, wanted_of

DOCS = Path(__file__).resolve().parents[2] / "docs"


def blocks(page: str, kind: str) -> list[str]:
    text = (DOCS / page).read_text(encoding="utf-8")
    return re.findall(rf"^```{kind}\n(.*?)^```", text, flags=re.MULTILINE | re.DOTALL)


def test_the_scale_ups_examples():
    wanted, sizes = blocks("scale-up.md", "toml")
    written = tomllib.loads(wanted)
    assert wanted_of(written).throughput == 1600
    assert set(Wanted.model_fields) - set(written) == {"exponent"}
    assert sizes_of_text(sizes, "sizes.toml")[0].name == "small"
    (table,) = blocks("scale-up.md", "csv")
    assert [s.area_cm2 for s in sizes_of_text(table, "sizes.csv")] == pytest.approx([1200, 2500, 5200])


def test_the_limits_example_names_them_all():
    (limits,) = blocks("pre-analysis.md", "toml")
    written = tomllib.loads(limits)
    assert set(written) == set(LineLimits.model_fields)
    assert limits_of(written).resistance == 4.5e6


def test_the_comparisons_page_names_each_verdict_and_what_may_differ():
    text = (DOCS / "comparison.md").read_text(encoding="utf-8")
    for verdict in Verdict:
        if verdict is not Verdict.NONE:
            assert f"| {verdict} |" in text
    for trait in Trait:
        assert trait.value in text.lower()
