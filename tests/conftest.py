"""What holds for every test: missing programs leave tests out loudly, and no asyncio task outlives its test.

- A test that needs a program which this machine lacks is deselected, and one line at the end says so.
- Long tests run only when ``-m`` names them.
- Where ``CI`` is set, a missing program or a skipped test fails the run.
- A run that hangs prints its stacks on ``kill -USR1``.
"""

from __future__ import annotations

import asyncio
import faulthandler
import inspect
import os
import shutil
import signal
from collections import Counter
from collections.abc import AsyncIterator, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
import pytest_asyncio

ROOT = Path(__file__).resolve().parents[1]
SHARED = ROOT.parent / "shared"


@dataclass(frozen=True, slots=True)
class Need:
    """What a marker's tests need on the machine.

    Attributes:
        programs: commands that must all be found.
        remedy: what to run where they are not.
        folder: a folder that must be there too, from the project's root.
    """

    programs: tuple[str, ...]
    remedy: str
    folder: str = ""

    def missing(self) -> tuple[str, ...]:
        """The programs, or the folder, not found; daemons may live outside a user's PATH."""
        path = os.pathsep.join([os.environ.get("PATH", os.defpath), "/usr/sbin", "/usr/local/sbin"])
        lacking = tuple(p for p in self.programs if shutil.which(p, path=path) is None)
        return lacking if not self.folder or (ROOT / self.folder).is_dir() else (*lacking, self.folder)


NEEDS = {
    "broker": Need(("mosquitto",), "apt install mosquitto"),
    "browser": Need(("chromium", "chromedriver"), "apt install chromium chromium-driver"),
    "influx": Need(("influxd",), "apt install influxdb"),
    "node": Need(("node",), "apt install nodejs"),
    "peers": Need(("node",), "make peers", "tests/journeys/peers/node_modules"),
    "compiler": Need(("gcc",), "apt install gcc libc6-dev"),
}
LEFT_OUT = pytest.StashKey[Counter[str]]()


def pytest_configure(config: pytest.Config) -> None:
    """Print every thread's stack on SIGUSR1, past pytest's capture."""
    config.stash[LEFT_OUT] = Counter()
    capture = config.pluginmanager.getplugin("capturemanager")
    if capture is None:
        stderr = os.dup(2)
    else:
        with capture.global_and_fixture_disabled():
            stderr = os.dup(2)
    faulthandler.register(signal.SIGUSR1, file=stderr, all_threads=True)


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave out long tests that were not asked for, and tests whose program is missing."""
    long_asked = "long" in (config.option.markexpr or "")
    lacking = {name for name, need in NEEDS.items() if need.missing()}
    kept, dropped = [], []
    for item in items:
        reasons = [name for name in NEEDS if name in lacking and item.get_closest_marker(name)]
        if item.get_closest_marker("long") and not long_asked:
            dropped.append(item)
        elif reasons:
            config.stash[LEFT_OUT].update(reasons)
            dropped.append(item)
        else:
            kept.append(item)
    if dropped:
        config.hook.pytest_deselected(items=dropped)
        items[:] = kept


def _complaints(config: pytest.Config) -> str:
    """Why a run in CI does not count as passed; empty when it does."""
    reporter = config.pluginmanager.getplugin("terminalreporter")
    skipped = len(reporter.stats.get("skipped", [])) if reporter is not None else 0
    left_out = [_count(n, name) for name, n in config.stash[LEFT_OUT].items()]
    found = [f"{' and '.join(left_out)} left out"] if left_out else []
    return ", ".join([*found, f"{_count(skipped)} skipped"] if skipped else found)


def _count(n: int, kind: str = "") -> str:
    return f"{n} {kind + ' ' if kind else ''}test{'s' if n > 1 else ''}"


def pytest_sessionfinish(session: pytest.Session) -> None:
    """In CI, what did not run has failed."""
    output = getattr(session.config, "workeroutput", None)
    if output is not None:  # one of several processes: the one that started them judges
        output["left_out"] = dict(session.config.stash[LEFT_OUT])
        return
    if os.environ.get("CI") and session.exitstatus == pytest.ExitCode.OK and _complaints(session.config):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node: Any) -> None:
    """What one of several processes left out; each of them collects all tests."""
    left_out = getattr(node, "workeroutput", {}).get("left_out", {})
    node.config.stash[LEFT_OUT] |= Counter(left_out)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter, config: pytest.Config) -> None:
    """One line that names what this machine lacks, what that left out, and the remedy."""
    left_out = config.stash[LEFT_OUT]
    if left_out:
        parts = [
            f"no {' or '.join(NEEDS[name].missing())}: {_count(n, name)} left out ({NEEDS[name].remedy})"
            for name, n in left_out.items()
        ]
        terminalreporter.write_line("; ".join(parts), yellow=True)
    complaints = _complaints(config)
    if os.environ.get("CI") and complaints:
        terminalreporter.write_line(f"CI: every test must run, but {complaints}", red=True)


@pytest.fixture
def shared() -> Path:
    """The folder of design pages and check values beside the project; a test that asks skips without it."""
    if not SHARED.is_dir():
        pytest.skip(f"{SHARED} is not there")
    return SHARED


@pytest.fixture(autouse=True)
def no_task_left(request: pytest.FixtureRequest) -> Iterator[None]:
    """Fails a coroutine test that leaves asyncio tasks running when it and its fixtures are done."""
    if inspect.iscoroutinefunction(getattr(request, "function", None)):
        request.getfixturevalue("_tasks_of_this_loop")
    yield


@pytest_asyncio.fixture
async def _tasks_of_this_loop() -> AsyncIterator[None]:
    before = asyncio.all_tasks()
    yield
    # A cancelled task needs a turn or two of the loop to end.
    for _ in range(10):
        left = asyncio.all_tasks() - before - {asyncio.current_task()}
        if not left:
            return
        await asyncio.sleep(0.01)
    pytest.fail(f"asyncio tasks still running: {sorted(repr(t) for t in left)}")
