"""Writes a scenario into one Parquet file in long form, with its truth and its events beside it."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from historian.errors import StoreReadOnly
from historian.frame import Frame
from historian.tags import Tag
from simulator.chronicle import chronicle
from simulator.json_file import write_json
from simulator.moments import at_ns
from simulator.run import SOURCE, batch, labels, published_tags
from simulator.scenarios.scenario import Scenario

TAGS_KEY = b"meltledger.tags"
SCENARIO_KEY = b"meltledger.scenario"

_ROWS_IN_GROUP = 500_000
_COLUMNS = (
    ("tag", pa.dictionary(pa.int32(), pa.string())),
    ("time", pa.timestamp("ns", tz="UTC")),
    ("value", pa.float64()),
    ("quality", pa.uint32()),
)


def write_parquet(
    path: Path,
    scenario: Scenario,
    t0_ns: int,
    start_s: int = 0,
    end_s: int | None = None,
    period_s: int = 1,
    *,
    aux_channels: int = 0,
    fast_hz: float | None = None,
) -> int:
    """Play a scenario into a Parquet file; gives the number of its samples.

    One row is a sample: ``tag``, ``time`` (source time, UTC), ``value`` (NaN where it is bad), ``quality``
    (OPC UA StatusCode); rows stand in order of arrival by the minute, within it by tag and time. The file's
    metadata holds the tags (``meltledger.tags``: JSON with path, unit, kind, text, reference, codes) and what
    was played (``meltledger.scenario``). Beside NAME.parquet come NAME.truth.json and NAME.events.json. The
    file has its name only when it is whole; memory does not grow with the length.

    Args:
        path: of the file; an old one is replaced.
        t0_ns: time of the scenario's second 0, UTC nanoseconds.
        start_s, end_s, period_s, aux_channels, fast_hz: as for ``batch``.

    Raises:
        StoreReadOnly: the folder cannot be written.
    """
    tags = {
        t.path: replace(t, id=k)
        for k, t in enumerate(published_tags(scenario, source=SOURCE, aux_channels=aux_channels))
    }
    frames = batch(
        scenario, tags, t0_ns, start_s, end_s, period_s, aux_channels=aux_channels, fast_hz=fast_hz
    )
    schema = pa.schema(_COLUMNS, metadata=_metadata(list(tags.values()), scenario, t0_ns))
    part = path.with_name(path.name + ".part")
    try:
        with pq.ParquetWriter(part, schema, compression="zstd") as writer:
            rows = _write(writer, schema, frames, pa.array(list(tags), pa.string()))
        truth_file, events_file = (path.with_suffix(f".{what}.json") for what in ("truth", "events"))
        write_beside(truth_file, events_file, scenario, t0_ns, end_s)
        part.replace(path)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise StoreReadOnly(f"{path}: cannot be written ({error}); name another file") from error
    except BaseException:
        part.unlink(missing_ok=True)
        raise
    return rows


def write_beside(
    truth: Path, events_file: Path, scenario: Scenario, t0_ns: int, end_s: int | None = None
) -> None:
    """Play the scenario once more and write its truth and its events."""
    told = chronicle(scenario, t0_ns, end_s)
    write_json(truth, told.truth)
    write_json(events_file, {**events(scenario, t0_ns), **told.events()})


def events(scenario: Scenario, t0_ns: int) -> dict[str, list[dict[str, Any]]]:
    """What people did and wrote down, the bags they filled, and the scenario's named stretches."""
    return {
        "labels": labels(scenario, t0_ns),
        "acts": [_timed(asdict(step), t0_ns) for step in scenario.steps],
        "notes": [_timed(asdict(note), t0_ns) for note in scenario.notes],
        "bags": [_timed(asdict(sample), t0_ns) for sample in scenario.samples],
    }


def _timed(fields: Mapping[str, Any], t0_ns: int) -> dict[str, Any]:
    """The fields that say something, with the time of the act first; all times are UTC nanoseconds."""
    told: dict[str, Any] = {"time_ns": at_ns(t0_ns, fields["at_s"])}
    for key, value in fields.items():
        if key == "at_s" or value in (None, "", ()):
            continue
        # A set-point may well be set to nought; elsewhere nought is what an act does not use.
        if value == 0 and not (key == "to" and fields.get("tag")):
            continue
        if key == "results_s":
            told["results_ns"] = at_ns(t0_ns, value)
        elif isinstance(value, dict):
            told[key] = {k: v for k, v in value.items() if v is not None}
        else:
            told[key] = value
    return told


def _metadata(tags: Sequence[Tag], scenario: Scenario, t0_ns: int) -> dict[bytes, bytes]:
    played = {
        "name": scenario.name,
        "title": scenario.title,
        "seed": scenario.seed,
        "scatter": scenario.scatter,
        "t0_ns": t0_ns,
        "simulated": True,
    }
    return {
        TAGS_KEY: json.dumps([tag.to_json() for tag in tags], ensure_ascii=False).encode(),
        SCENARIO_KEY: json.dumps(played, ensure_ascii=False).encode(),
    }


def _write(writer: pq.ParquetWriter, schema: pa.Schema, frames: Iterator[Frame], paths: pa.Array) -> int:
    waiting: list[Frame] = []
    total = rows = 0
    for frame in frames:
        waiting.append(frame)
        rows += len(frame)
        if rows >= _ROWS_IN_GROUP:
            writer.write_table(_table(schema, waiting, paths))
            total, rows, waiting = total + rows, 0, []
    if rows:
        writer.write_table(_table(schema, waiting, paths))
    return total + rows


def _table(schema: pa.Schema, frames: Sequence[Frame], paths: pa.Array) -> pa.Table:
    places = np.concatenate([f.tag for f in frames])
    return pa.Table.from_arrays(
        [
            pa.DictionaryArray.from_arrays(pa.array(places, pa.int32()), paths),
            pa.array(np.concatenate([f.time_ns for f in frames]), schema.field("time").type),
            pa.array(np.concatenate([f.value for f in frames]), pa.float64()),
            pa.array(np.concatenate([f.quality for f in frames]), pa.uint32()),
        ],
        schema=schema,
    )
