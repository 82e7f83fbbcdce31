"""Opens what a trial is told by, record, samples, journal and register, and puts it together."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import closing
from typing import Final

import numpy as np

from historian.frame import Series
from historian.quality import is_bad
from historian.sensors.register import Register
from historian.store import Store
from historian.tags import Tag
from meltledger.config import LineConfig
from meltledger.register import load_register
from meltledger.stores import store_or_none_yet
from rules.entry import Entry
from rules.journal import Journal
from trials.figures.reading import calibration_of
from trials.figures.trace import Calibration
from trials.outcome import Outcome
from trials.outcome.points import lots_after_the_first
from trials.outcome.together import outcome_of
from trials.record import Trial, TrialRecord, What, book_of
from trials.segments import timeline

_TAGS_AT_ONCE: Final = 40
"""A store takes some times the memory of what it reads while it reads."""

_NOT_OURS: Final = "edge."
"""How the recorder does is no reading of the line."""


def evaluate(config: LineConfig, record: TrialRecord, trial: Trial, now_ns: int) -> Outcome:
    """A trial as it stands; one under way until its newest sample.

    Raises:
        WrongInput: the record contradicts itself, or the register is wrong.
        StoredDataDamaged: naming the file.
    """
    judged, entries = _journal(config, trial, now_ns)
    book = book_of(record.entries(trial.id))
    with store_or_none_yet(config) as store:
        end_ns = trial.end_ns if trial.end_ns is not None else _newest_ns(store, trial, now_ns)
        tags = {path: tag for path, tag in store.tags().items() if not path.startswith(_NOT_OURS)}
        told = timeline(
            store,
            entries,
            trial.start_ns,
            end_ns,
            config.facts,
            record.notes(trial.id),
            materials_ns=[e.time_ns for e in lots_after_the_first(book)],
            screens_ns=[e.time_ns for e in book.all_of(What.SCREEN)[1:]],
        )
        series: dict[str, Series] = {}
        paths = list(tags)
        for at in range(0, len(paths), _TAGS_AT_ONCE):
            some = paths[at : at + _TAGS_AT_ONCE]
            series |= store.read(some, trial.start_ns, end_ns, bound_before=True)
    return outcome_of(
        trial,
        record.entries(trial.id),
        end_ns,
        told,
        series,
        config.facts,
        tags,
        _calibrations(load_register(config), tags, series, end_ns),
        judged=judged,
    )


def _newest_ns(store: Store, trial: Trial, now_ns: int) -> int:
    span = store.span()
    newest_ns = now_ns if span is None else min(now_ns, span[1] + 1)
    return max(newest_ns, trial.start_ns + 1)


def _journal(config: LineConfig, trial: Trial, now_ns: int) -> tuple[bool, list[Entry]]:
    """Whether rules judged the trial, and what was written until its end."""
    if not config.journal.exists():
        return False, []
    with closing(Journal.open(config.journal, mode="read")) as journal:
        entries = journal.entries(None, now_ns if trial.end_ns is None else trial.end_ns)
    return bool(entries), entries


def _calibrations(
    register: Register, tags: Mapping[str, Tag], series: Mapping[str, Series], time_ns: int
) -> dict[str, Calibration]:
    """What the register knows of each sensor, at the mean of what it read."""
    found = {}
    for path, samples in series.items():
        known = samples.value[~is_bad(samples.quality) & ~np.isnan(samples.value)]
        uncertainty = register.uncertainty(tags[path], float(known.mean()), time_ns) if len(known) else None
        if uncertainty is not None:
            sensor = register.sensor_at(path, time_ns)
            checks = register.checks_of(sensor) if sensor is not None else []
            found[path] = calibration_of(path, uncertainty, checks[-1].certificate if checks else "")
    return found
