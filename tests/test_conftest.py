"""The rules that conftest.py lays on every test, tried on small suites in a process of their own."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]

MIXED = """
import pytest

def test_plain(): pass

def test_skip(): pytest.skip("no reason")

@pytest.mark.broker
def test_broker(): pass

@pytest.mark.broker
def test_another_with_broker(): pass

@pytest.mark.browser
def test_browser(): pass

@pytest.mark.long
def test_long(): pass
"""
LEAKING = """
import asyncio

async def test_leaves_a_task():
    global task
    task = asyncio.create_task(asyncio.sleep(3600))

async def test_awaits_its_task():
    await asyncio.create_task(asyncio.sleep(0))

async def test_cancels_its_task():
    asyncio.create_task(asyncio.sleep(3600)).cancel()
"""


def run(folder: Path, suite: str, *options: str, ci: bool = False, bare: bool = False) -> tuple[int, str]:
    """Exit status and output of pytest over one test file with our settings.

    Args:
        ci: set CI in its environment.
        bare: as on a machine that has none of the programs.
    """
    tests = folder / "project" / "tests"
    tests.mkdir(parents=True)
    shutil.copy(ROOT / "pyproject.toml", folder / "project")
    conftest = (ROOT / "tests" / "conftest.py").read_text(encoding="utf-8")
    env = {k: v for k, v in os.environ.items() if k not in {"CI", "PYTEST_ADDOPTS"}}
    env["COLUMNS"] = "200"
    if bare:
        env["PATH"] = str(folder)
        daemons = '"/usr/sbin", "/usr/local/sbin"'
        assert daemons in conftest
        conftest = conftest.replace(daemons, '"/nowhere"')
    if ci:
        env["CI"] = "true"
    (tests / "conftest.py").write_text(conftest, encoding="utf-8")
    (tests / "test_small.py").write_text(suite, encoding="utf-8")
    command = [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", *options]
    done = subprocess.run(
        command, cwd=folder / "project", env=env, capture_output=True, text=True, timeout=60, check=False
    )
    return done.returncode, done.stdout + done.stderr


def test_a_missing_program_leaves_its_tests_out_and_one_line_says_so(tmp_path: Path) -> None:
    status, output = run(tmp_path, MIXED, bare=True)
    assert status == 0
    assert "1 passed, 1 skipped, 4 deselected" in output
    lines = [line for line in output.splitlines() if "left out" in line]
    assert len(lines) == 1
    assert "no mosquitto: 2 broker tests left out (apt install mosquitto)" in lines[0]
    assert "no chromium or chromedriver: 1 browser test left out (apt install chromium" in lines[0]
    assert "influx" not in lines[0] and "long" not in lines[0]


def test_a_missing_program_and_a_skipped_test_fail_the_run_in_ci(tmp_path: Path) -> None:
    status, output = run(tmp_path, MIXED, ci=True, bare=True)
    assert status == 1
    assert "CI: every test must run, but 2 broker tests and 1 browser test left out, 1 test skipped" in output


def test_long_tests_run_when_asked_for_and_leave_nothing_out_in_ci(tmp_path: Path) -> None:
    status, output = run(tmp_path, MIXED, "-m", "long", "-v", ci=True, bare=True)
    assert status == 0
    assert "1 passed, 5 deselected" in output
    assert "test_long PASSED" in output
    assert "left out" not in output


def test_a_task_left_running_fails_the_test_that_left_it(tmp_path: Path) -> None:
    status, output = run(tmp_path, LEAKING, bare=True)
    assert status == 1
    assert "ERROR tests/test_small.py::test_leaves_a_task - Failed: asyncio tasks still running" in output
    assert "3 passed, 1 error" in output


@pytest.mark.parametrize("where", [".ci/run", "README.md"])
def test_every_program_that_tests_need_is_installed_by_ci_and_named_to_people(where: str) -> None:
    conftest = (ROOT / "tests" / "conftest.py").read_text(encoding="utf-8")
    needs = re.findall(r'"(\w+)": Need\(\([^)]*\), "([^"]*)"', conftest)
    assert {name for name, _ in needs} == {"broker", "browser", "compiler", "influx", "node", "peers"}
    text = (ROOT / where).read_text(encoding="utf-8")
    words = [remedy.removeprefix("apt install ").split() for _, remedy in needs]
    assert not [word for remedy in words for word in remedy if word not in text]


def test_what_several_processes_leave_out_is_told_once_and_fails_in_ci(tmp_path: Path) -> None:
    status, output = run(tmp_path, MIXED, "-n", "2", ci=True, bare=True)
    assert status == 1
    assert "no mosquitto: 2 broker tests left out (apt install mosquitto)" in output
    assert "CI: every test must run, but 2 broker tests and 1 browser test left out, 1 test skipped" in output
