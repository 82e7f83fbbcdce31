"""Which package may import what, and that the contracts in pyproject.toml bite."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
SETTINGS = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["importlinter"]
CONTRACTS = [contract["name"] for contract in SETTINGS["contracts"]]

# Contract → a package (or module) and an import that it must not have. Each goes into a copy of the tree, as a
# new module where a package is named.
INTRUDERS = {
    "imports run down": ("historian", "import rules.finding"),
    "the simulator does not share the judges' knowledge": ("simulator", "import process.screen"),
    "the collector knows the historian only": ("collector", "import rules.finding"),
    "asyncua only in collector/opcua and simulator/opcua": ("collector", "from asyncua import ua"),
    "paho only in collector/mqtt, simulator/mqtt and simulator/sparkplug_edge": (
        "simulator",
        "import paho.mqtt.client",
    ),
    "prometheus_client only in meltledger/metrics": ("collector", "import prometheus_client"),
    "dash only in dashboard": ("trials", "from dash import html"),
    "plotly only in dashboard": ("trials", "import plotly.graph_objects"),
    "matplotlib only in trials/pictures and rules/pictures": ("trials", "import matplotlib.pyplot"),
    "dask only in meltledger/backtesting/crew": ("rules", "import distributed"),
    "influxdb_client only in historian/influx": ("historian", "import influxdb_client"),
    "sqlite3 only in historian, rules/journal, rules/digest, trials/record and dashboard/accounts": (
        "rules",
        "import sqlite3",
    ),
    "pint only in historian/units": ("historian", "import pint"),
    "scipy only in process and trials": ("rules", "import scipy.signal"),
    "pandas only at the edges that people touch": ("historian", "import pandas"),
    "the pure core has no clock, disk, network or log": ("process", "import time"),
    "production code never knows the simulator": ("meltledger", "import simulator.plant"),
    "what runs on a real line does not lean on the demo": (
        "meltledger/verbs/run.py",
        "import meltledger.demoline",
    ),
    "the simulator uses the historian's values, not its store": (
        "simulator",
        "import historian.embedded.store",
    ),
    "only the wiring knows which kind of store it is": (
        "meltledger/verbs/serve.py",
        "import historian.influx",
    ),
}


def lint(folder: Path) -> tuple[int, str]:
    """Exit status and report of the import linter over the tree in a folder."""
    program = Path(sys.executable).with_name("lint-imports")
    done = subprocess.run(
        [str(program), "--no-cache"],
        cwd=folder,
        env={**os.environ, "COLUMNS": "300", "PYTHONPATH": str(folder)},
        capture_output=True,
        text=True,
        timeout=100,
        check=False,
    )
    return done.returncode, done.stdout + done.stderr


@pytest.fixture(scope="module")
def with_intruders(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The report over a copy of the tree into which every forbidden import was put."""
    folder = tmp_path_factory.mktemp("tree")
    shutil.copy(ROOT / "pyproject.toml", folder)
    for package in SETTINGS["root_packages"]:
        shutil.copytree(ROOT / package, folder / package, ignore=shutil.ignore_patterns("__pycache__"))
    for number, (place, forbidden) in enumerate(INTRUDERS.values()):
        path = folder / place if place.endswith(".py") else folder / place / f"intruder_{number}.py"
        with path.open("a", encoding="utf-8") as module:
            module.write(f"{forbidden}\n")
    status, report = lint(folder)
    assert status == 1
    return report


def test_the_tree_keeps_every_contract() -> None:
    status, report = lint(ROOT)
    assert status == 0, report
    assert f"Contracts: {len(CONTRACTS)} kept, 0 broken." in report


def test_every_contract_has_an_intruder() -> None:
    assert sorted(INTRUDERS) == sorted(CONTRACTS)


@pytest.mark.parametrize("contract", CONTRACTS)
def test_a_contract_bites(contract: str, with_intruders: str) -> None:
    place, number = INTRUDERS[contract][0], list(INTRUDERS).index(contract)
    module = place.removesuffix(".py") if place.endswith(".py") else f"{place}/intruder_{number}"
    _, _, broken = with_intruders.partition("Broken contracts")
    told = re.split(rf"\n{re.escape(contract)}\n-+\n", broken)
    assert len(told) == 2, f"not broken: {contract}"
    section = re.split(r"\n-{5,}\n", told[1])[0]
    assert f"{module.replace('/', '.')} -> " in section


def test_the_page_for_developers_names_every_fenced_library() -> None:
    fenced = {c["forbidden_modules"][0] for c in SETTINGS["contracts"] if " only " in c["name"]}
    page = (ROOT / "docs" / "architecture.md").read_text(encoding="utf-8")
    assert {name for name in fenced if not name.startswith("historian.")} <= set(re.findall(r"`(\w+)`", page))
