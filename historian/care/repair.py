"""Mends a store from what is there. Nothing damaged is deleted: it goes into its folder ``damaged``."""

from __future__ import annotations

import json
import os
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Final

from historian.archive.disk import Disk
from historian.archive.manifest import NAME, Kind, Manifest
from historian.archive.writer import load_manifest
from historian.care.findings import Facts, Finding, Trouble
from historian.care.judge import judge
from historian.care.look import ARCHIVE, RECENT, ROLLUPS, Progress, look, quiet
from historian.care.mend import mended
from historian.care.rebuild import candidates, rollups_again, with_frames
from historian.care.recent_again import recent_again
from historian.embedded.recent import Recent
from historian.embedded.tag_list import load_tags
from historian.embedded.upkeep import Upkeep
from historian.errors import MeltledgerError, StoreReadOnly
from historian.retention import Keep
from historian.rollups.files import load_rollups
from historian.rollups.listed import RollupList
from historian.rollups.writer import publish
from historian.tags import Tag
from historian.told import told

ASIDE: Final = "damaged"
_WAIT_S: Final = 2


def repair(
    folder: Path,
    disk: Disk,
    progress: Progress = quiet,
    *,
    now_ns: int = 0,
    known: Mapping[str, Tag] | None = None,
) -> tuple[list[Finding], list[str]]:
    """Look at a store, mend what can be mended and seal what is due; stop its writer first.

    Args:
        now_ns: UTC; which hours are closed by then; 0: the frames' own arrivals tell.
        known: whole descriptions of tags by path, as the line's file has them, for tags whose description
            was lost.

    Returns:
        what was found, and a sentence for each thing that was done about it.

    Raises:
        WrongInput: there is no store in the folder.
        StoreReadOnly: a writer is at work, or the folder cannot be written.
    """
    with _alone(folder / RECENT) as db:
        facts = look(folder, progress)
        found = judge(facts, now_ns=now_ns)
        deeds = [*_mend_archive(folder, facts, found, disk), *_mend_rollups(folder, facts, found, disk)]
        if db is not None and not facts.recent_fault:
            deeds += _mend_rows(folder, facts, db, disk)
        deeds += _clear(folder, found, disk)
    if facts.recent_fault:
        deeds += recent_again(folder, known or {}, disk)
    elif known:
        deeds += _describe(folder / RECENT, known)
    deeds += _look_after(folder, facts, found, disk, now_ns)
    return found, deeds


def _describe(path: Path, known: Mapping[str, Tag]) -> Iterator[str]:
    """Give tags that came from no known source the description that is known of their path."""
    recent = Recent.open(path, write=True)
    try:
        rows = []
        for number, body in recent.tag_rows():
            old = Tag.from_json(json.loads(body), id=number)
            new = known.get(old.path)
            if new is not None and not old.source and new.unit == old.unit and replace(new, id=number) != old:
                rows.append((number, old.path, json.dumps(new.to_json(), ensure_ascii=False)))
        if rows:
            recent.put_tags(rows)
            yield f"{RECENT}: {len(rows)} tags are described as in the line's file, such as {rows[0][1]}"
    finally:
        recent.close()


def _look_after(folder: Path, facts: Facts, found: list[Finding], disk: Disk, now_ns: int) -> Iterator[str]:
    """Seal and roll up what is due, which needs the name of the line."""
    due = [f for f in found if f.trouble is not Trouble.HOLE]
    if not due:
        return
    archive = load_manifest(folder / ARCHIVE)
    line = archive.line if archive else _line_of(folder)
    if not line:
        if any(f.trouble in (Trouble.UNSEALED, Trouble.DUE) for f in due):
            yield "nothing was sealed yet, so the line's name is not known here: `meltledger run` seals it"
        return
    arrived_ns = max((row.arrival_ns for row in facts.rows), default=0)
    try:
        with closing(Upkeep.open(folder, line, Keep(), disk=disk)) as upkeep:
            kept = upkeep.step(max(now_ns, arrived_ns))
    except MeltledgerError as error:
        yield f"what is due could not be sealed and rolled up: {error}"
        return
    if kept.frames:
        yield f"{ARCHIVE}: {kept.frames} frames of closed hours were sealed"
    if kept.rollups:
        yield f"{ROLLUPS}: {kept.rollups} files were written, from the raw samples"


def _line_of(folder: Path) -> str:
    try:
        listed = load_tags(folder)
    except MeltledgerError:
        listed = None
    return listed.line if listed else ""


@contextmanager
def _alone(path: Path) -> Iterator[sqlite3.Connection | None]:
    """Keeps other writers out of ``recent.db`` and commits at the end; None when the file is past opening."""
    try:
        with told(path):
            db = sqlite3.connect(f"file:{path}?mode=rw", uri=True, isolation_level=None, timeout=_WAIT_S)
    except StoreReadOnly:
        db = None
    if db is None:
        yield None
        return
    try:
        try:
            db.execute("BEGIN IMMEDIATE")
        except sqlite3.OperationalError as error:
            raise StoreReadOnly(f"{path}: stop `meltledger run` on this line first ({error})") from error
        except sqlite3.DatabaseError:
            yield None
            return
        yield db
        with told(path):
            db.execute("COMMIT")
    finally:
        db.close()


def _mend_archive(folder: Path, facts: Facts, found: list[Finding], disk: Disk) -> Iterator[str]:
    """Set damaged files aside and write a list of what is sound."""
    hurt = [f for f in found if f.where.startswith(f"{ARCHIVE}/") and not f.trouble.is_note]
    if not hurt:
        return
    root = folder / ARCHIVE
    again = mended(facts, candidates(root, facts.archive_files))
    aside = [*_bad(folder, hurt), *(f"{ARCHIVE}/{path}" for path in again.aside)]
    for where in aside:
        yield _kept_aside(folder, where, disk)
    segments = tuple(
        s if s.of_kind(Kind.FRAMES) else with_frames(root, s, again.manifest, disk)
        for s in again.manifest.segments
    )
    publish(disk, root / NAME, replace(again.manifest, segments=segments).to_bytes())
    _delete(folder, aside, disk)
    yield from again.told
    yield (
        f"{ARCHIVE}/{NAME}: written anew; it names {len(segments)} segments "
        f"with {sum(s.samples for s in segments)} samples"
    )


def _mend_rollups(folder: Path, facts: Facts, found: list[Finding], disk: Disk) -> Iterator[str]:
    """The same for rollups; what has its raw samples yet is made again afterwards."""
    hurt = [f for f in found if f.where.startswith(f"{ROLLUPS}/") and not f.trouble.is_note]
    if not hurt:
        return
    root = folder / ROLLUPS
    listed = facts.rollups or rollups_again(root, facts.rollup_files)
    lost = {f.where.removeprefix(f"{ROLLUPS}/") for f in hurt if f.trouble is not Trouble.LIST}
    aside = _bad(folder, hurt)
    for where in aside:
        yield _kept_aside(folder, where, disk)
    again: RollupList = listed.changed([], drop=[f for f in listed.files if f.path in lost])
    publish(disk, root / NAME, again.to_bytes())
    _delete(folder, aside, disk)
    yield (
        f"{ROLLUPS}/{NAME}: written anew; it names {len(again.files)} files. "
        "What is missing is made again from raw samples where these are kept"
    )


def _bad(folder: Path, hurt: list[Finding]) -> list[str]:
    """Files that are there and not as they should be."""
    return [
        f.where for f in hurt if f.trouble in (Trouble.DAMAGED, Trouble.LIST) and (folder / f.where).exists()
    ]


def _mend_rows(folder: Path, facts: Facts, db: sqlite3.Connection, disk: Disk) -> Iterator[str]:
    """Take rows that cannot be decoded out of the way of the others."""
    sealed = facts.manifest.sealed_seq if facts.manifest else 0
    for row in facts.rows:
        if not row.fault:
            continue
        with told(folder / RECENT):
            (body,) = db.execute("SELECT body FROM rows WHERE seq=?", (row.seq,)).fetchone()
        name = f"{ASIDE}/recent-row-{row.seq}.bin"
        disk.write(folder / name, bytes(body))
        disk.sync_folder(folder / ASIDE)
        with told(folder / RECENT):
            db.execute("DELETE FROM rows WHERE seq=?", (row.seq,))
        loss = "is in the segments too" if row.seq <= sealed else f"its {row.samples} samples are lost"
        yield f"{RECENT}, row {row.seq}: set aside as {name}; {loss}"


def _clear(folder: Path, found: list[Finding], disk: Disk) -> Iterator[str]:
    """Delete what no list names, where the lists could be trusted from the start."""
    # A file that no list named may have been what a damaged segment came back from.
    named = {f"{ARCHIVE}/{f.path}" for f in (load_manifest(folder / ARCHIVE) or Manifest("")).files()}
    named |= {f"{ROLLUPS}/{f.path}" for f in (load_rollups(folder / ROLLUPS) or RollupList()).files}
    for finding in found:
        if finding.trouble is Trouble.LEFTOVER and finding.where not in named:
            disk.delete(folder / finding.where)
            yield f"{finding.where}: deleted; no list named it"


def _kept_aside(folder: Path, where: str, disk: Disk) -> str:
    """A second name for a file, in the folder of damaged ones; the first goes when the new list stands.

    So a stop in between leaves the file where the old list says, and no good file without a list.
    """
    stem = where.replace("/", "__")
    free = (f"{ASIDE}/{stem}{f'.{n}' if n else ''}" for n in range(10_000))
    name = next(n for n in free if not (folder / n).exists())
    with told(folder / name):
        (folder / ASIDE).mkdir(exist_ok=True)
        try:
            os.link(folder / where, folder / name)
        except OSError:
            # A file system without hard links.
            disk.write(folder / name, (folder / where).read_bytes())
    for touched in (folder, folder / ASIDE):
        disk.sync_folder(touched)
    return f"{where}: set aside as {name}"


def _delete(folder: Path, aside: list[str], disk: Disk) -> None:
    for where in aside:
        if not where.endswith(f"/{NAME}"):
            disk.delete(folder / where)
