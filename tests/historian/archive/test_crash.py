"""Whatever stops the writer, the archive is as before or as after; what was acknowledged is there."""

from __future__ import annotations

import contextlib
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from historian import StoreFull
from historian.archive.disk import HostDisk
from historian.archive.manifest import Manifest
from historian.archive.writer import ArchiveWriter, load_manifest
from tests.historian.archive.lines import (
    DAY,
    NS,
    START,
    TAGS,
    Numbered,
    frame,
    held,
    scans,
    sealed,
    slow,
    sound,
)


class PowerCut(Exception):
    """The machine has gone dark."""


class FailingDisk(HostDisk):
    """A disk that stops at its k-th call, and forgets on ``cut`` what was not synced.

    Renames, new files and deletions are kept once their folder was synced, as POSIX promises and no more.
    """

    def __init__(self, stop_at: int, error: Callable[[], Exception] = PowerCut) -> None:
        self.calls = 0
        self._stop_at = stop_at
        self._error = error
        self._undo: list[tuple[Path, Callable[[], object]]] = []

    def stop(self, at: int, error: Callable[[], Exception]) -> None:
        """Stop at the k-th call from now."""
        self.calls, self._stop_at, self._error = 0, at, error

    def write(self, path: Path, data: bytes) -> None:
        self._count()
        made = [p for p in (path.parent, *path.parent.parents) if not p.exists()]
        before = path.read_bytes() if path.exists() else None
        super().write(path, data)
        for folder in reversed(made):
            self._undo.append((folder.parent, lambda f=folder: shutil.rmtree(f, ignore_errors=True)))
        self._undo.append((path.parent, lambda: _put(path, before)))

    def rename(self, old: Path, new: Path) -> None:
        self._count()
        was_old, was_new = old.read_bytes(), new.read_bytes() if new.exists() else None
        super().rename(old, new)
        self._undo.append((new.parent, lambda: (_put(old, was_old), _put(new, was_new))))

    def sync_folder(self, path: Path) -> None:
        self._count()
        super().sync_folder(path)
        self._undo = [(folder, undo) for folder, undo in self._undo if folder != path]

    def delete(self, path: Path) -> None:
        self._count()
        if path.exists():
            body = path.read_bytes()
            super().delete(path)
            self._undo.append((path.parent, lambda: _put(path, body)))

    def cut(self) -> None:
        for _, undo in reversed(self._undo):
            undo()

    def _count(self) -> None:
        self.calls += 1
        if self.calls == self._stop_at:
            raise self._error()


def _put(path: Path, body: bytes | None) -> None:
    if body is None:
        path.unlink(missing_ok=True)
    elif path.parent.exists():
        path.write_bytes(body)


def _history(writer: ArchiveWriter, frames: Numbered) -> None:
    """A life of a line: two hours sealed, late samples, a day made, late samples into the day."""
    for part in (frames[:30], frames[30:45], frames[45:50]):
        writer.seal(part, TAGS)
    writer.compact(TAGS, before_ns=START + DAY)
    writer.seal(frames[50:], TAGS)


def _frames() -> Numbered:
    late = [
        (
            k,
            frame(
                [(1, START + 60 * NS + 3_000_000, float(k), 0), (4, START + k, 1.0, 0)],
                arrival_ns=START + DAY,
            ),
        )
        for k in range(46, 56)
    ]
    return scans(1, 45, every_s=120) + late


def _calls(tmp_path: Path) -> int:
    disk = FailingDisk(0)
    _history(ArchiveWriter.open(tmp_path / "count", "line 1", disk=disk), _frames())
    return disk.calls


@pytest.mark.parametrize("power", ["stays", "goes"])
def test_a_stop_at_any_call_leaves_the_old_state_or_the_new_one(tmp_path: Path, power: str) -> None:
    frames = _frames()
    total = _calls(tmp_path)
    assert total > 50
    for stop_at in range(1, total + 1, 1 if power == "goes" else 4):
        root = tmp_path / str(stop_at)
        disk = FailingDisk(stop_at)
        acknowledged = 0
        with pytest.raises(PowerCut):
            writer = ArchiveWriter.open(root, "line 1", disk=disk)
            for part in (frames[:30], frames[30:45], frames[45:50]):
                acknowledged = writer.seal(part, TAGS)
            writer.compact(TAGS, before_ns=START + DAY)
            acknowledged = writer.seal(frames[50:], TAGS)
        if power == "goes":
            disk.cut()
        manifest = load_manifest(root) or Manifest("line 1")
        assert manifest.sealed_seq >= acknowledged
        assert sound(root, manifest)
        assert held(root) == slow(frames[: manifest.sealed_seq])
        again = ArchiveWriter.open(root, "line 1")
        again.seal(frames, TAGS)
        assert held(root) == slow(frames)
        listed = {root / f.path for f in again.manifest.files()}
        assert set(root.glob("line=*/day=*/*.parquet")) == listed
        shutil.rmtree(root, ignore_errors=True)


def test_a_full_disk_is_told_reading_goes_on_and_writing_when_there_is_space(tmp_path: Path) -> None:
    frames = _frames()
    told = 0
    for stop_at in range(1, 12):
        root = tmp_path / str(stop_at)
        sealed(root, frames[:30])
        disk = FailingDisk(0)
        writer = ArchiveWriter.open(root, "line 1", disk=disk)
        disk.stop(stop_at, lambda: StoreFull("no space"))
        try:
            writer.seal(frames[30:45], TAGS)
            assert held(root) == slow(frames[:45])
        except StoreFull:
            told += 1
            assert held(root) in (slow(frames[:30]), slow(frames[:45]))
        disk.stop(0, PowerCut)
        # The same writer goes on once there is space.
        assert writer.seal(frames, TAGS) == len(frames)
        assert held(root) == slow(frames)
    assert told > 6


def test_a_power_cut_after_a_full_disk_finds_the_old_state_or_the_new_one(tmp_path: Path) -> None:
    frames = _frames()
    for full_at in range(1, 10):
        for stop_at in range(1, 14):
            root = tmp_path / f"{full_at}-{stop_at}"
            sealed(root, frames[:30])
            disk = FailingDisk(0)
            writer = ArchiveWriter.open(root, "line 1", disk=disk)
            disk.stop(full_at, lambda: StoreFull("no space"))
            with contextlib.suppress(StoreFull):
                writer.seal(frames[30:45], TAGS)
            disk.stop(stop_at, PowerCut)
            with contextlib.suppress(PowerCut):
                writer.seal(frames[30:50], TAGS)
            disk.cut()
            manifest = load_manifest(root)
            assert manifest is not None and sound(root, manifest)
            assert held(root) == slow(frames[: manifest.sealed_seq])
            shutil.rmtree(root)
