"""What is installed: our names are ours alone, the versions agree, and a wheel carries everything."""

from __future__ import annotations

import importlib
import importlib.metadata
import os
import re
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

import meltledger

ROOT = Path(__file__).resolve().parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
PACKAGES = ("collector", "dashboard", "historian", "meltledger", "process", "rules", "simulator", "trials")


def locked() -> dict[str, str]:
    """Name → version in the lock."""
    lines = (ROOT / "requirements" / "dev.lock").read_text(encoding="utf-8").splitlines()
    pins = [line.split("#")[0].strip().split("==") for line in lines if not line.startswith("#")]
    return dict(pins)


@pytest.mark.parametrize("name", PACKAGES)
def test_no_other_distribution_owns_one_of_our_names(name: str) -> None:
    assert set(importlib.metadata.packages_distributions()[name]) == {"meltledger"}


def test_all_packages_lie_side_by_side() -> None:
    folders = {Path(str(importlib.import_module(name).__file__)).parents[1] for name in PACKAGES}
    assert len(folders) == 1


def test_a_package_in_the_tree_is_in_the_lists_that_name_them() -> None:
    assert {p.parent.name for p in ROOT.glob("*/__init__.py")} - {"benchmarks", "tests"} == set(PACKAGES)
    assert set(PROJECT["tool"]["importlinter"]["root_packages"]) == set(PACKAGES)
    assert set(PROJECT["tool"]["mypy"]["packages"]) == set(PACKAGES)
    assert {i.rstrip("*") for i in PROJECT["tool"]["setuptools"]["packages"]["find"]["include"]} == set(
        PACKAGES
    )


@pytest.mark.parametrize("name", PACKAGES)
def test_every_package_is_typed(name: str) -> None:
    assert (ROOT / name / "py.typed").is_file()


def test_the_version_is_the_same_everywhere() -> None:
    newest = re.search(r"^## \[(\d+\.\d+\.\d+)\]", (ROOT / "CHANGELOG.md").read_text("utf-8"), re.MULTILINE)
    assert newest is not None
    assert newest.group(1) == PROJECT["project"]["version"] == meltledger.__version__
    assert importlib.metadata.version("meltledger") == meltledger.__version__


def test_the_lock_pins_everything_that_the_project_asks_for() -> None:
    asked = [*PROJECT["project"]["dependencies"], *PROJECT["build-system"]["requires"]]
    for extra in PROJECT["project"]["optional-dependencies"].values():
        asked += extra
    pins = locked()
    for requirement in map(Requirement, asked):
        version = pins.get(canonicalize_name(requirement.name))
        assert version is not None, f"{requirement.name} is not in requirements/dev.lock; run make lock"
        assert requirement.specifier.contains(version), f"{requirement} but the lock has {version}"


def test_the_lock_pins_what_those_need_in_turn() -> None:
    pins = locked()
    for name in pins:
        for text in importlib.metadata.requires(name) or []:
            requirement = Requirement(text)
            if requirement.marker is None or requirement.marker.evaluate({"extra": ""}):
                assert canonicalize_name(requirement.name) in pins, (
                    f"{name} needs {requirement}: run make lock"
                )


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, built from the checkout in a copy, so that nothing is left behind in it."""
    folder = tmp_path_factory.mktemp("wheel")
    files = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard", "-z"],
        cwd=ROOT,
        capture_output=True,
        check=True,
    ).stdout
    for name in filter(None, files.decode().split("\0")):
        if (ROOT / name).is_file() and not name.startswith(("tests/", "docs/", "benchmarks/")):
            copy = folder / "source" / name
            copy.parent.mkdir(parents=True, exist_ok=True)
            copy.write_bytes((ROOT / name).read_bytes())
    pip = [sys.executable, "-m", "pip", "--disable-pip-version-check", "wheel", "--quiet", "--no-deps"]
    subprocess.run(
        [*pip, "--no-build-isolation", "-w", str(folder), str(folder / "source")], check=True, timeout=100
    )
    (built,) = folder.glob("*.whl")
    return built


def test_the_wheel_has_our_packages_and_nothing_else_on_top(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as archive:
        top = {name.split("/")[0] for name in archive.namelist()}
    assert top == {*PACKAGES, f"meltledger-{meltledger.__version__}.dist-info"}


def test_the_wheel_carries_what_is_not_code(wheel: Path) -> None:
    here = [
        path.relative_to(ROOT).as_posix()
        for pattern in ("*/py.typed", "dashboard/assets/**/*", "simulator/scenarios/*.toml")
        for path in ROOT.glob(pattern)
        if path.is_file()
    ]
    assert any(name.startswith("dashboard/assets/") for name in here)
    assert any(name.startswith("simulator/scenarios/") for name in here)
    with zipfile.ZipFile(wheel) as archive:
        names = set(archive.namelist())
    assert sorted(set(here) - names) == []
    assert any(name.endswith("licenses/LICENSE") for name in names)


def test_the_wheel_runs_from_another_folder_without_the_checkout(wheel: Path, tmp_path: Path) -> None:
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(tmp_path / "installed")
    env = {**os.environ, "PYTHONPATH": str(tmp_path / "installed")}
    script = "import rules, meltledger.__main__ as m; print(rules.__file__); m.main(['--version'])"
    done = subprocess.run(
        [sys.executable, "-c", script],
        cwd=tmp_path,
        env=env,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert str(tmp_path / "installed") in done.stdout
    assert meltledger.__version__ in done.stdout


@pytest.mark.long
def test_the_wheel_works_in_a_clean_environment_without_development_tools(
    wheel: Path, tmp_path: Path
) -> None:
    subprocess.run([sys.executable, "-m", "venv", str(tmp_path / "venv")], check=True)
    bin_ = tmp_path / "venv" / "bin"
    lock = str(ROOT / "requirements" / "dev.lock")
    pip = [str(bin_ / "python"), "-m", "pip", "--disable-pip-version-check", "install", "--quiet"]
    subprocess.run([*pip, "-c", lock, str(wheel)], check=True, timeout=900)
    listed = subprocess.run([str(bin_ / "pip"), "list"], capture_output=True, text=True, check=True).stdout
    assert "pytest" not in listed
    for verb in ([], ["demo"], ["run"], ["serve"]):
        done = subprocess.run(
            [str(bin_ / "meltledger"), *verb, "--help"], cwd="/", capture_output=True, text=True, check=False
        )
        assert done.returncode == 0, done.stderr
        assert "Usage" in done.stdout
