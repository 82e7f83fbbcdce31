"""A small stored trial: eight heater plates for forty minutes, of which the fifth burns out."""

from __future__ import annotations

import json
from collections.abc import Mapping
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np

from historian.embedded.store import EmbeddedStore
from historian.exchange._window import Window
from historian.exchange.parquet import export_parquet
from historian.frame import NS, Frame, Series
from meltledger.demoline import write_line_file
from simulator.scenarios.file import load_scenario
from tests.rules.detectors.plants import Plates
from tests.rules.detectors.signals import T0_NS, tags_of

OPEN_S, WHOLE_S, DURATION_S = 800, 1300, 2400


def line_file(path: Path, *, more: str = "") -> Path:
    """The file of a line that has such plates."""
    write_line_file(path, load_scenario("trial_day"), "opc.tcp://127.0.0.1:1", port=8050, zone="UTC")
    path.write_text(path.read_text(encoding="utf-8") + more, encoding="utf-8")
    return path


def truth_of(plate: int = 5) -> list[dict[str, Any]]:
    """What went wrong, and a stretch before it that must stay quiet."""
    return [
        {
            "id": "GT-1",
            "number": "B1",
            "onset_ns": T0_NS + OPEN_S * NS,
            "end_ns": T0_NS + WHOLE_S * NS,
            "must_detect_within_s": 360,
            "place": plate,
            "tags": [f"filter.plate.{plate}.temp.pv", f"filter.plate.{plate}.i"],
        },
        {
            "id": "NT-1",
            "must_stay_quiet": True,
            "onset_ns": T0_NS + 100 * NS,
            "end_ns": T0_NS + 700 * NS,
        },
    ]


def write_trial(folder: Path, *, truth: bool = True, healthy: bool = False) -> Path:
    """A store's folder with the trial, a frame every ten seconds."""
    plates = Plates(DURATION_S, seed=len(folder.name))
    if not healthy:
        plates.open(5, at_s=OPEN_S, until_s=WHOLE_S)
    signals = plates.made()
    with closing(EmbeddedStore.open(folder, synchronous="normal")) as store:
        tags = store.register(tags_of(signals).values())
        numbers = {path: tags[path].id for path in signals}
        for begin_s in range(0, DURATION_S, 10):
            store.append(_frame(signals, numbers, begin_s))
    if truth:
        (folder / "truth.json").write_text(json.dumps([] if healthy else truth_of()), encoding="utf-8")
    return folder


def write_parquet(file: Path, folder: Path) -> Path:
    """The trial of a store's folder as a Parquet file, with its truth beside it."""
    with closing(EmbeddedStore.open(folder, mode="read")) as store:
        paths = tuple(store.tags())
        export_parquet(store, file, Window(paths, T0_NS, T0_NS + DURATION_S * NS))
    file.with_suffix(".truth.json").write_text((folder / "truth.json").read_text(encoding="utf-8"))
    return file


def _frame(signals: Mapping[str, Series], numbers: Mapping[str, int], begin_s: int) -> Frame:
    begin_ns, end_ns = (T0_NS + s * NS for s in (begin_s, begin_s + 10))
    tag, time_ns, value, quality = [], [], [], []
    for path, one in signals.items():
        a, b = np.searchsorted(one.time_ns, [begin_ns, end_ns])
        tag.append(np.full(b - a, numbers[path]))
        time_ns.append(one.time_ns[a:b])
        value.append(one.value[a:b])
        quality.append(one.quality[a:b])
    columns = (np.concatenate(c) for c in (tag, time_ns, value, quality))
    return Frame.of(*columns, arrival_ns=end_ns - 1)
