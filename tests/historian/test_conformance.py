"""The embedded store answers as every store must, sealed or not."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from historian import EmbeddedStore, Frame
from historian.embedded.upkeep import Upkeep
from historian.retention import Keep
from tests.historian.conformance import BASE_NS, Conformance


class Folder:
    """Stores in one folder."""

    def __init__(self, path: Path, kind: type[EmbeddedStore] = EmbeddedStore) -> None:
        self._path = path
        self._kind = kind
        self._open: list[EmbeddedStore] = []

    def writer(self) -> EmbeddedStore:
        self._open.append(self._kind.open(self._path))
        return self._open[-1]

    def reader(self) -> EmbeddedStore:
        self._open.append(EmbeddedStore.open(self._path, mode="read"))
        return self._open[-1]

    def close(self) -> None:
        for store in self._open:
            store.close()


class SealingStore(EmbeddedStore):
    """Seals all that is there after every other append, and makes days and rollups of it."""

    def __init__(self, folder: Path, *rest: Any, **more: Any) -> None:
        super().__init__(folder, *rest, **more)
        self._upkeep = Upkeep.open(folder, "line-1", Keep())
        self._appends = 0

    def append(self, *frames: Frame) -> int:
        number = super().append(*frames)
        self._appends += 1
        if self._appends % 2:
            self._upkeep.step(BASE_NS + self._appends * 10**14, seal_all=True)
        return number

    def close(self) -> None:
        super().close()
        self._upkeep.close()


class TestEmbedded(Conformance):
    @pytest.fixture
    def house(self, tmp_path: Path) -> Iterator[Folder]:
        folder = Folder(tmp_path / "store")
        # A reader that comes before the writer finds no store; the writer makes it.
        folder.writer()
        yield folder
        folder.close()


class TestSealed(Conformance):
    @pytest.fixture
    def house(self, tmp_path: Path) -> Iterator[Folder]:
        folder = Folder(tmp_path / "store", SealingStore)
        folder.writer()
        yield folder
        folder.close()
