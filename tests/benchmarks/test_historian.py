"""The area ``historian`` on two minutes an hour: its figures are worth nothing here, its answers are compared."""

from __future__ import annotations

import importlib
import json
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import nullcontext
from functools import partial
from pathlib import Path

import numpy as np
import pytest

from benchmarks import (
    appending,
    asking,
    duckdb_beside,
    historian,
    influx_beside,
    long_windows,
    memory,
    prepared,
    reference_set,
    sizes,
)
from benchmarks.answers import AnswersDiffer
from benchmarks.prepared import Prepared
from historian.archive.writer import load_manifest
from historian.embedded import long_view
from historian.embedded.store import EmbeddedStore
from historian.frame import Frame

entry = importlib.import_module("benchmarks.__main__")
FIGURES = 16


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Prepared]:
    """Two minutes of each hour; for a month, a sample a minute in the first two hours of the day."""
    whole = prepared.long_day

    def thin(number: int) -> Frame:
        day, some = whole(number), slice(0, 7_200, 60)
        return Frame(day.tag[some], day.time_ns[some], day.value[some], day.quality[some], day.arrival_ns)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(prepared, "BUILD", tmp_path_factory.mktemp("build"))
        patch.setattr(prepared, "hour", partial(reference_set.hour, seconds=120))
        patch.setattr(prepared, "long_day", thin)
        patch.setattr(appending, "COMMITS_QUICK", {245: 3, 5_000: 2})
        patch.setattr(appending, "SEALED_S_QUICK", 3)
        patch.setattr(influx_beside, "_SETTLED_S", 0)
        patch.setattr(long_view, "_FEW", 0)  # else so few samples would be drawn without rollups
        yield prepared.prepared(quick=True)


def without_influx(_: Prepared) -> nullcontext[None]:
    return nullcontext()


def test_the_quick_form_prints_every_figure_of_the_area(
    small: Prepared, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(historian, "influx_of", without_influx)
    assert entry.main(["historian", "--quick"]) in (0, 1)
    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert len({line["name"] for line in lines}) == len(lines) == FIGURES
    assert all(line["quick"] and line["ours"] > 0 and line["baseline"] > 0 for line in lines)
    limits = {line["limit"] for line in lines if "limit" in line}
    assert {2.5, 5.0, 10.0, 2.1, 300.0} <= limits
    assert prepared.prepared(quick=True) == small


@pytest.mark.influx
def test_influxdb_is_asked_the_same_and_answers_the_same(
    small: Prepared, monkeypatch: pytest.MonkeyPatch
) -> None:
    server = influx_beside.influx_of(small)
    assert server is not None
    with server:
        beside = [f for area in (sizes, asking) for f in area.figures(small, server)]
        told = [f.name for f in beside if "InfluxDB 1.6" in f.beside]
        assert len(told) == 7
        monkeypatch.setattr(influx_beside.InfluxBeside, "newest", lambda _: [])
        with pytest.raises(AnswersDiffer, match="newest, InfluxDB"):
            list(asking.figures(small, server))
    again = influx_beside.influx_of(small)
    assert again is not None
    monkeypatch.setattr(influx_beside.InfluxBeside, "_fill", fail)
    with again:
        assert again.size() > 0


def fail(*_: object) -> None:
    raise AssertionError("it was filled already")


def test_without_influxd_its_figures_are_left_out_and_that_is_said(
    small: Prepared, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(influx_beside.shutil, "which", lambda *_, **__: None)
    assert influx_beside.influx_of(small) is None
    assert "no influxd here" in capsys.readouterr().err


def test_without_duckdb_its_figures_are_left_out_and_that_is_said(
    small: Prepared, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(duckdb_beside.importlib.util, "find_spec", lambda _: None)
    assert duckdb_beside.duckdb_of(small.store) is None
    assert "no duckdb here" in capsys.readouterr().err


def one_bit_off(read: object) -> object:
    """A ``read`` that gets one value of the 10 Hz tag wrong."""

    def wrong(self: EmbeddedStore, paths: list[str], *window: int) -> object:
        found = read(self, paths, *window)  # type: ignore[operator]
        found[paths[-1]].value[7] = np.nextafter(found[paths[-1]].value[7], np.inf)
        return found

    return wrong


def test_a_value_that_is_one_bit_off_is_found_before_anything_is_timed(
    small: Prepared, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(EmbeddedStore, "read", one_bit_off(EmbeddedStore.read))
    with pytest.raises(AnswersDiffer, match=r"bench\.quick\.5\.pv, value"):
        list(asking.figures(small, None))


def test_an_append_that_keeps_less_than_it_was_given_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    append = EmbeddedStore.append

    def forgetful(self: EmbeddedStore, *frames: Frame) -> int:
        return append(self, *(Frame(*_but_last(f), f.arrival_ns) for f in frames))

    monkeypatch.setattr(EmbeddedStore, "append", forgetful)
    with pytest.raises(AnswersDiffer, match="the store, time_ns"):
        next(appending.figures(True))


def _but_last(frame: Frame) -> tuple[np.ndarray, ...]:
    return frame.tag[:-1], frame.time_ns[:-1], frame.value[:-1], frame.quality[:-1]


def test_what_an_ended_run_left_is_cleared_away(small: Prepared) -> None:
    left = prepared.BUILD / "append-left"
    left.mkdir()
    (left / "recent.db").write_text("", encoding="utf-8")
    next(appending.figures(True))
    assert small.store.exists() and list(prepared.BUILD.glob("append-*")) == []


def test_a_commit_is_the_next_samples_of_the_reference_set() -> None:
    one, other = appending.batches_of(5_000, 2)
    assert len(one) == len(other) == 5_000
    seconds = list(reference_set.frames(reference_set.hour(0, 41), 0))[:20]
    first = {(t, n) for f in seconds for t, n in zip(f.time_ns.tolist(), f.tag.tolist(), strict=True)}
    assert first < set(zip(one.time_ns.tolist(), one.tag.tolist(), strict=True))
    assert not first & set(zip(other.time_ns.tolist(), other.tag.tolist(), strict=True))


def test_the_sizes_are_of_the_forms_that_their_names_say(small: Prepared) -> None:
    for figure, folder in zip(sizes.figures(small, None), (small.store, small.own_stamps), strict=True):
        listed = load_manifest(folder / "archive")
        assert listed is not None
        bytes_a_sample = sum(f.bytes for f in listed.files()) / sum(s.samples for s in listed.segments)
        # The list itself counts too, and weighs something where there are few samples.
        assert bytes_a_sample < figure.ours < 1.5 * bytes_a_sample
    with pytest.raises(AnswersDiffer, match="wide files"):
        list(sizes.figures(_with(small, store=small.own_stamps), None))
    with pytest.raises(RuntimeError, match="long files"):
        list(sizes.figures(_with(small, own_stamps=small.store), None))


def _with(data: Prepared, **changed: Path) -> Prepared:
    return Prepared(**{**{n: getattr(data, n) for n in Prepared.__slots__}, **changed})


def test_a_season_from_rollups_is_compared_with_every_sample(
    small: Prepared, monkeypatch: pytest.MonkeyPatch
) -> None:
    rolled, raw = long_windows.figures(small, None)
    assert rolled.ours > 0 and raw.ours > 0 and rolled.baseline == raw.baseline
    with pytest.raises(AnswersDiffer, match="outline"):
        list(long_windows.figures(_with(small, long_plain=shifted(small)), None))


def shifted(data: Prepared) -> Path:
    """The single tag's table with one value raised out of all reach."""
    copy = data.long_plain.with_name("shifted.db")
    shutil.copyfile(data.long_plain, copy)
    db = sqlite3.connect(copy)
    db.execute("UPDATE sample SET value = 999 WHERE time_ns = (SELECT max(time_ns) FROM sample)")
    db.commit()
    db.close()
    return copy


def test_memory_is_the_readers_own_and_not_that_of_who_started_it(small: Prepared) -> None:
    """A child's ru_maxrss begins with the peak of its parent, which is large here."""
    mine = b"x" * (300 * 2**20)
    work = f"held = b'x' * (64 * 2**20); samples = {len(mine) // 2**20}; held_mb = 0.0"
    taken = memory.measured(small.store, work, ["bench.temperature.1.pv"], (0, 1))
    assert taken.samples == 300
    assert 60 < taken.peak_mb < 80


def test_an_answer_is_weighed_once_where_tags_share_an_array(small: Prepared) -> None:
    window = (reference_set.START_NS, small.end_ns)
    every = [t.path for t in reference_set.tags()]
    one, all_of_them = (
        memory.measured(small.store, memory._READ, paths, window) for paths in (every[:1], every)
    )
    assert one.samples == 240
    assert 8 * one.samples <= one.held_mb * 2**20 <= 40 * one.samples
    assert 8 * all_of_them.samples <= all_of_them.held_mb * 2**20 <= 14 * all_of_them.samples


@pytest.mark.long
@pytest.mark.timeout(600)
def test_the_command_prints_every_figure_on_two_hours() -> None:
    command = [sys.executable, "-m", "benchmarks", "historian", "--quick"]
    done = subprocess.run(command, cwd=prepared.HERE, capture_output=True, text=True, check=False)
    assert done.returncode in (0, 1), done.stderr
    lines = [json.loads(line) for line in done.stdout.splitlines()]
    assert len(lines) == FIGURES
    assert done.returncode == (0 if all(line["holds"] for line in lines) else 1)
