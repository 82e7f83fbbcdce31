"""Upkeep in a process of its own: the same that it does here, and its troubles told here."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from historian import EmbeddedStore, Frame, Tag
from historian.archive.manifest import HOUR_NS
from historian.archive.writer import load_manifest
from historian.errors import MeltledgerError, WrongInput
from historian.frame import NS
from historian.retention import Keep
from meltledger import apart
from meltledger.apart import UpkeepApart

T0 = 1_893_456_000 * NS
PATH = "filter.inlet.pressure.pv"


def _hour(store: EmbeddedStore, number: int) -> None:
    time_ns = T0 + number * HOUR_NS + np.arange(0, 3600, 10) * NS
    n = len(time_ns)
    store.append(Frame.of([1] * n, time_ns, np.arange(n), [0] * n, arrival_ns=int(time_ns[-1]) + NS))


@pytest.fixture
def store(tmp_path: Path) -> EmbeddedStore:
    made = EmbeddedStore.open(tmp_path)
    made.register([Tag(PATH, "bar")])
    _hour(made, 0)
    return made


def test_a_closed_hour_is_sealed_once_and_another_process_has_done_it(
    store: EmbeddedStore, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    orders: list[int] = []
    ask = apart._ask

    def counted(order: apart._Order) -> object:
        orders.append(order.now_ns)
        return ask(order)

    monkeypatch.setattr(apart, "_ask", counted)
    upkeep = UpkeepApart.open(tmp_path, "line-1", Keep())
    now_ns = T0 + HOUR_NS + 300 * NS
    assert upkeep.step(now_ns).frames == 1
    assert [upkeep.step(now_ns + n * 60 * NS).frames for n in range(1, 50)] == [0] * 49
    assert orders == [now_ns]
    _hour(store, 1)
    assert upkeep.step(now_ns + HOUR_NS).frames == 1
    manifest = load_manifest(tmp_path / "archive")
    assert manifest is not None and manifest.sealed_seq == 2
    assert store.read([PATH], 0, 2**62)[PATH].value.tolist() == [*range(360)] * 2
    assert len(orders) == 2


def test_what_goes_wrong_there_is_told_here_and_tried_again(tmp_path: Path) -> None:
    upkeep = UpkeepApart.open(tmp_path, "line-1", Keep())
    for _ in range(2):
        with pytest.raises(WrongInput, match="there is no store here yet"):
            upkeep.step(T0)


def test_a_process_that_is_killed_is_told_and_tried_again(
    store: EmbeddedStore, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    upkeep = UpkeepApart.open(tmp_path, "line-1", Keep())
    with monkeypatch.context() as killed:
        program = tmp_path / "killed"
        program.write_text("#!/bin/sh\nkill -9 $$\n", encoding="ascii")
        os.chmod(program, 0o700)
        killed.setattr(apart.sys, "executable", str(program))
        with pytest.raises(MeltledgerError, match=r"did not end well: it ended with -9"):
            upkeep.step(T0 + HOUR_NS + 300 * NS)
    assert upkeep.step(T0 + HOUR_NS + 300 * NS).frames == 1
