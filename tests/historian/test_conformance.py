"""The embedded store answers as every store must."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from historian import EmbeddedStore
from tests.historian.conformance import Conformance


class Folder:
    """Stores in one folder."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._open: list[EmbeddedStore] = []

    def writer(self) -> EmbeddedStore:
        self._open.append(EmbeddedStore.open(self._path))
        return self._open[-1]

    def reader(self) -> EmbeddedStore:
        self._open.append(EmbeddedStore.open(self._path, mode="read"))
        return self._open[-1]

    def close(self) -> None:
        for store in self._open:
            store.close()


class TestEmbedded(Conformance):
    @pytest.fixture
    def house(self, tmp_path: Path) -> Iterator[Folder]:
        folder = Folder(tmp_path / "store")
        # A reader that comes before the writer finds no store; the writer makes it.
        folder.writer()
        yield folder
        folder.close()
