"""The page about scenarios says what the schema knows, no more and no less."""

from __future__ import annotations

import re
from pathlib import Path
from typing import get_args

import pytest

from simulator.controls.permissives import PERMISSIVES
from simulator.machines.melt import POLYMERS
from simulator.people.laboratory import MEASURES
from simulator.scenarios.file import read_scenario, scenario_names
from simulator.scenarios.scenario import Action
from simulator.scenarios.schema import MARKS, TABLES, File, NoteStep
from simulator.scenarios.variation import FACTORS
from simulator.sensors import SOURCES

PAGE = (Path(__file__).parents[3] / "docs" / "scenarios.md").read_text(encoding="utf-8")


def section(heading: str) -> str:
    """The text under a heading, up to the next one."""
    found = re.search(rf"^##+ {re.escape(heading)}\n(.*?)(?=^##+ |\Z)", PAGE, flags=re.MULTILINE | re.DOTALL)
    assert found is not None, heading
    return found.group(1)


def first_columns(text: str) -> list[list[str]]:
    """The names in the first column of each table."""
    tables: list[list[str]] = []
    inside = False
    for line in text.splitlines():
        if line.startswith("|---"):
            tables.append([])
            inside = True
        elif not line.startswith("|"):
            inside = False
        elif inside:
            tables[-1] += re.findall(r"`([^`]+)`", line.split("|")[1])
    return tables


@pytest.mark.parametrize("table", sorted(TABLES))
def test_every_key_is_on_the_page_and_every_key_on_the_page_exists(table: str) -> None:
    heading = f"`[{table}]`" if table in ("scenario", "material", "line") else f"`[[{table}]]`"
    assert sorted(first_columns(section(heading))[0]) == sorted(TABLES[table].model_fields)


def test_every_table_of_the_file_is_on_the_page() -> None:
    assert set(re.findall(r"^### `\[+(\w+)\]+`", PAGE, flags=re.MULTILINE)) == set(File.model_fields)


def test_every_act_is_on_the_page() -> None:
    acts = first_columns(section("`[[step]]`"))[1]
    assert sorted(acts) == sorted((*get_args(Action), *get_args(NoteStep)))


def test_names_that_may_be_chosen_are_on_the_page() -> None:
    def named(text: str) -> set[str]:
        return set(re.findall(r"`([^`]+)`", text))

    assert set(POLYMERS) <= named(section("`[material]`"))
    assert {*PERMISSIVES, *MARKS} <= named(section("`[[step]]`"))
    assert set(SOURCES) <= named(section("`[[fault]]`")) & named(section("`[[source]]`"))
    sample = section("`[[sample]]`")
    for place in ("pellets", "discharge", "feed"):
        (listed,) = re.findall(rf"{place}: ([^;|]+)", sample)
        assert named(listed) == {name for name, m in MEASURES.items() if place in m.places}


def test_every_scenario_has_its_paragraph() -> None:
    told = re.findall(r"^- `(\w+)`: ", section("The scenarios that come along"), flags=re.MULTILINE)
    assert sorted(told) == scenario_names()


def test_every_factor_of_a_variant_is_on_the_page_with_its_range() -> None:
    rows = re.findall(
        r"^\| `([\w.]+)` \| [^|]+ \| ([\d.]+)–([\d.]+) \|", section("Variants"), flags=re.MULTILINE
    )
    assert rows == [(name, f"{f.low:g}", f"{f.high:g}") for name, f in FACTORS.items()]


def test_the_example_on_the_page_is_a_good_one() -> None:
    (example,) = re.findall(r"```toml\n(.+?)```", PAGE, flags=re.DOTALL)
    scenario = read_scenario(example, name="page", where="docs/scenarios.md")
    assert scenario.faults[0].place == 3
