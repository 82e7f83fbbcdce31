"""The layer between a program and the disk, compiled once."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.support.shadow import Shadow, built


@pytest.fixture(scope="session")
def library(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The layer as a library."""
    return built(tmp_path_factory.mktemp("shadow"))


@pytest.fixture
def shadow(library: Path, tmp_path: Path) -> Shadow:
    """The layer before a folder of the test's own, which is not made yet."""
    return Shadow(library, tmp_path / "disk", tmp_path / "beside")
