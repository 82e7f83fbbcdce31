"""When the data are made, and that nobody is disturbed meanwhile."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest

from benchmarks import prepared


def test_a_folder_is_filled_once_and_again_when_what_it_is_made_of_changes(tmp_path: Path) -> None:
    folder = tmp_path / "stores"
    assert prepared.remade(folder, "one")
    (folder / "half").write_text("", encoding="utf-8")
    assert prepared.remade(folder, "one"), "it was never finished"
    assert not (folder / "half").exists()
    prepared.made(folder, "one")
    assert not prepared.remade(folder, "one")
    assert prepared.remade(folder, "two")


def test_a_digest_follows_the_text_of_the_files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(prepared, "HERE", tmp_path)
    (tmp_path / "a.py").write_text("1", encoding="utf-8")
    (tmp_path / "b.txt").write_text("1", encoding="utf-8")
    before = prepared.digest("*.py")
    (tmp_path / "b.txt").write_text("2", encoding="utf-8")
    assert prepared.digest("*.py") == before
    (tmp_path / "a.py").write_text("2", encoding="utf-8")
    assert prepared.digest("*.py") != before


def test_every_pattern_of_code_finds_a_file() -> None:
    for pattern in (*prepared._DATA_CODE, *prepared._STORE_CODE):
        assert list(prepared.HERE.glob(pattern)), pattern


def test_a_second_benchmark_waits_for_the_first(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(prepared, "BUILD", tmp_path)
    order: list[str] = []

    def second() -> None:
        with prepared.alone():
            order.append("second")

    with prepared.alone():
        other = threading.Thread(target=second)
        other.start()
        other.join(0.3)
        assert other.is_alive()
        order.append("first")
    other.join(10)
    assert order == ["first", "second"]
    assert "waiting" in capsys.readouterr().err
