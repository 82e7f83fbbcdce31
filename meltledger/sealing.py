"""Seals a trial over its record and the samples of its window, and looks whether a seal still holds."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from historian.archive.manifest import DAY_NS
from historian.errors import WrongInput
from historian.frame import Series
from historian.retention import Window
from historian.store import Store
from trials.record import Trial, TrialRecord, book_of
from trials.record.travel import head
from trials.seal import Seal, TagSeal, differences, sealed, tag_seal


def seal_trial(record: TrialRecord, store: Store, trial: Trial, *, by: str) -> Seal:
    """Seal a closed trial, and note it in the record.

    Raises:
        WrongInput: it is under way.
    """
    seal = sealed(head(trial), record.entries(trial.id), _tags(store, trial))
    record.seal(trial.id, seal.to_json(), by=by)
    return seal


def seal_holds(record: TrialRecord, store: Store, trial: Trial) -> tuple[Seal, list[str]]:
    """The newest seal, and what is no longer as it was sealed, a sentence each.

    Raises:
        WrongInput: the trial was never sealed.
    """
    entries = record.entries(trial.id)
    book = book_of(entries)
    if book.forgotten is not None:
        raise WrongInput(f"trial '{trial.name}' was deleted; the proof stands beside its seal")
    kept = book.seal
    if kept is None:
        raise WrongInput(f"trial '{trial.name}' was never sealed; a trial is sealed when it is closed")
    seal = Seal.from_json(kept.data)
    return seal, differences(seal, sealed(head(trial), entries, _tags(store, trial), upto=seal.upto))


def _tags(store: Store, trial: Trial) -> dict[str, TagSeal]:
    if trial.end_ns is None:
        raise WrongInput(f"trial '{trial.name}' is under way; close it before it is sealed")
    return tags_in(store, [(trial.start_ns, trial.end_ns)])


def tags_in(store: Store, windows: Sequence[Window]) -> dict[str, TagSeal]:
    """Path → its samples in the windows [start, end), for every tag that has any."""
    found = {}
    for path, tag in sorted(store.tags().items()):
        one = tag_seal(path, tag.unit, _pieces(store, path, windows))
        if one.samples:
            found[path] = one
    return found


def _pieces(store: Store, path: str, windows: Sequence[Window]) -> Iterator[Series]:
    """Day by day, so that a long trial needs no more memory than a short one."""
    for start_ns, end_ns in windows:
        for at_ns in range(start_ns, end_ns, DAY_NS):
            yield store.read([path], at_ns, min(at_ns + DAY_NS, end_ns))[path]
