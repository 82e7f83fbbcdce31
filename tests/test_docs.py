"""The pages for people say what the program does."""

from __future__ import annotations

import re
from pathlib import Path

import click
import pytest

from meltledger.cli import root
from meltledger.config import load
from scripts.tables import stale

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
PAGES = sorted([*ROOT.glob("*.md"), *(ROOT / "docs").glob("*.md")])


def verbs() -> list[str]:
    """The verbs of the command line."""
    return root.list_commands(click.Context(root))


def test_the_readme_starts_with_the_job_and_then_the_two_commands() -> None:
    title, job, commands = [part.strip() for part in README.split("\n\n")][:3]
    assert title == "# meltledger"
    assert job.startswith("meltledger ") and len(job.split()) > 40
    assert re.findall(r"^make \w+", commands, flags=re.MULTILINE) == ["make demo", "make test"]


def test_the_readme_says_what_it_is_not() -> None:
    flat = " ".join(README.split())
    for words in (
        "never writes to a machine",
        "not a safety function",
        "the machine's manual",
        "local codes",
    ):
        assert words in flat
    for claim in ("safe to open", "is safe", "pressure-free"):
        assert claim not in flat


def test_every_verb_is_documented_and_every_documented_verb_exists() -> None:
    assert set(re.findall(r"^\| `meltledger (\w+)`", README, flags=re.MULTILINE)) == set(verbs())
    mentioned = {verb for page in PAGES for verb in re.findall(r"`meltledger (\w+)", page.read_text("utf-8"))}
    assert mentioned <= set(verbs())
    assert set(re.findall(r"bin/meltledger (\w+)", README)) <= set(verbs())


@pytest.mark.parametrize("verb", verbs())
def test_every_verb_explains_itself_and_its_options(verb: str) -> None:
    command = root.get_command(click.Context(root), verb)
    assert command is not None
    assert command.help
    unexplained = [
        p.name for p in command.params if isinstance(p, click.Option) and not p.help and not p.hidden
    ]
    assert not unexplained


def test_every_make_target_that_a_page_names_exists() -> None:
    targets = set(re.findall(r"^([a-z-]+):", (ROOT / "Makefile").read_text("utf-8"), flags=re.MULTILINE))
    named = {
        name for page in PAGES for name in re.findall(r"^make (\S+)|`make (\S+?)`", page.read_text("utf-8"))
    }
    flat = {first or second for first, second in named}
    assert {"demo", "test", "lint", "bench", "test-long"} <= flat
    assert flat <= targets


def test_links_and_pictures_lead_somewhere() -> None:
    broken = [
        f"{page.name}: {target}"
        for page in PAGES
        for target in re.findall(r"\]\(([^)#]+)\)", page.read_text(encoding="utf-8"))
        if not target.startswith("https://") and not (page.parent / target).exists()
    ]
    assert not broken


def test_the_tables_that_follow_from_the_code_are_current() -> None:
    assert list(stale()) == [], "run make tables"


def test_the_line_of_the_page_about_line_files_is_a_good_one(tmp_path: Path) -> None:
    page = (ROOT / "docs" / "line-file.md").read_text(encoding="utf-8")
    (example,) = re.findall(r"```toml\n(.+?)```", page, flags=re.DOTALL)
    (tmp_path / "line.toml").write_text(example, encoding="utf-8")
    line = load(tmp_path / "line.toml")
    assert line.facts.melt_filter is not None
    assert line.facts.melt_filter.trigger_dp_bar == 45
    assert line.facts.setting("pressure-creep").numbers == {"horizon_s": 2700.0}


def test_every_module_that_the_developers_page_names_exists() -> None:
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    named = set(re.findall(r"`((?:[a-z]+/)+[\w.]*)`", page))
    assert named
    missing = [name for name in named if not (ROOT / name).exists() and name not in {"data/"}]
    assert not missing
