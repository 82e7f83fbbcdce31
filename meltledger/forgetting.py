"""Deletes a trial: samples, photographs, record, in this order, with a proof that is written first.

Whatever stops it in between, the same call goes on where it stood: the proof lists what is to go before
anything goes, and the record, by which all is found, goes last.
"""

from __future__ import annotations

import fcntl
import json
import os
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from historian.archive.disk import HostDisk
from historian.embedded.upkeep import Upkeep
from historian.errors import WrongInput
from historian.rollups.writer import publish
from meltledger.recordedline import RecordedLine
from meltledger.sealing import tags_in
from meltledger.stores import is_embedded, store_or_none_yet
from trials.customers.forgetting import Proof, photos_of, windows_of
from trials.record import Entry, Trial, book_of
from trials.record.travel import head
from trials.seal import record_hash

PROOFS: Final = "proofs"


def proof_path(line: RecordedLine, trial: Trial) -> Path:
    """Where the proof of a trial's deletion stands as a file, for whoever asks for it."""
    name = f"{trial.code_name or 'trial'}-{trial.id}.deletion.json"
    return line.config.trials.parent / PROOFS / name


def proof_of(line: RecordedLine, trial: Trial, *, by: str, why: str, now_ns: int) -> Proof:
    """What is to go: as a try that was stopped had it, or as it is now.

    Raises:
        WrongInput: the trial is under way, or its samples are elsewhere.
    """
    path = proof_path(line, trial)
    if path.exists():
        return Proof.from_json(_read(path), str(path))
    if not is_embedded(line.config):
        raise WrongInput(
            "the samples of this line are on a server, from which they cannot be deleted here; delete the "
            "trial's window there, by the server's own means, and keep its proof"
        )
    windows = windows_of(trial, [t for t in line.record.trials() if t.id != trial.id])
    entries = line.record.entries(trial.id)
    seal = book_of(entries).seal
    with store_or_none_yet(line.config) as store:
        tags = {path: (t.samples, t.sha256) for path, t in tags_in(store, windows).items()}
    return Proof(
        trial.id,
        trial.code_name,
        now_ns,
        by,
        why,
        str(seal.data["sha256"]) if seal else "",
        windows,
        len(entries),
        record_hash(head(trial), entries),
        tags,
        photos_of(entries, _of_others(line, trial)),
    )


def forget(line: RecordedLine, trial: Trial, proof: Proof, now_ns: int) -> Proof:
    """Delete what a proof lists; gives the proof as it stands then, beside the seal and in its file.

    Raises:
        WrongInput: samples of the trial are not sealed yet.
        StoreFull, StoreReadOnly: naming the file; call it again when that is mended.
    """
    path = proof_path(line, trial)
    path.parent.mkdir(parents=True, exist_ok=True)
    _write(path, proof)
    if proof.windows and (line.config.folder / "recent.db").exists():
        with _alone(line.config.folder):
            upkeep = Upkeep.open(line.config.folder, line.config.facts.name, line.config.keep)
            with closing(upkeep):
                upkeep.forget(proof.windows, now_ns)
    held = set(photos_of(_of_others(line, trial), []))  # some may have come since the proof was begun
    photos = [p for p in proof.photos if p not in held]
    for sha256 in photos:
        for found in (line.config.trials.parent / "photos").glob(f"{sha256}.*"):
            HostDisk().delete(found)
    done = replace(proof, photos=photos, done=True)
    line.record.forget(trial.id, done.to_json(), by=proof.by)
    _write(path, done)
    return done


def end_what_was_stopped(line: RecordedLine) -> None:
    """Bring proofs to their end whose record went before the power did."""
    for trial in line.record.trials():
        kept, path = book_of(line.record.entries(trial.id)).forgotten, proof_path(line, trial)
        if kept is not None and (not path.exists() or not _read(path).get("done")):
            path.parent.mkdir(parents=True, exist_ok=True)
            _write(path, Proof.from_json(kept.data, str(path)))


def _of_others(line: RecordedLine, trial: Trial) -> list[Entry]:
    others = (t for t in line.record.trials() if t.id != trial.id)
    return [e for t in others for e in line.record.entries(t.id)]


def _read(path: Path) -> dict[str, Any]:
    try:
        read: Any = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise WrongInput(f"{path}: cannot be read ({error}); put it back from a backup") from error
    return read if isinstance(read, dict) else {}


def _write(path: Path, proof: Proof) -> None:
    text = json.dumps(proof.to_json(), ensure_ascii=False, indent=1) + "\n"
    publish(HostDisk(), path, text.encode())


@contextmanager
def _alone(folder: Path) -> Iterator[None]:
    """Behind the step of a running line that seals in the same folder, and before its next one."""
    lock = os.open(folder / "upkeep.lock", os.O_RDWR | os.O_CREAT, 0o600)
    try:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield
    finally:
        os.close(lock)
