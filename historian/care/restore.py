"""A store out of a backup: every byte is checked before the folder gets its name."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import tarfile
from pathlib import Path, PurePosixPath
from typing import IO, Final

from historian.archive.disk import HostDisk
from historian.care.backup import CONTENTS, FORMAT, VERSION, Contents
from historian.care.findings import FileFact
from historian.care.look import Progress, quiet
from historian.errors import StoredDataDamaged, WrongInput
from historian.told import told

_AT_ONCE: Final = 1 << 20


def restore(file: Path, folder: Path, progress: Progress = quiet) -> Contents:
    """Put a backup back into a folder that is empty or not there; gives what is in it.

    Raises:
        WrongInput: there is no such file, it is no backup, or the folder holds something.
        StoredDataDamaged: the backup was cut short or is not what was written; no folder is made.
        StoreFull, StoreReadOnly: the folder cannot be written.
    """
    if not file.is_file():
        raise WrongInput(f"{file}: there is no such file")
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise WrongInput(f"{folder}: holds something already; name a folder that is empty or not there")
    part = folder.with_name(f"{folder.name}.part")
    if part.exists():
        raise WrongInput(f"{part}: is in the way, from a restore that was cut short; remove it")
    try:
        with told(folder):
            part.mkdir(parents=True)
            there = _unpacked(file, part, progress)
            contents = _contents(part / CONTENTS, file)
            _compare(there, contents, file)
            (part / CONTENTS).unlink()
            _sync_folders(part)
            part.replace(folder)
        HostDisk().sync_folder(folder.parent)
    finally:
        shutil.rmtree(part, ignore_errors=True)
    return contents


def _unpacked(file: Path, part: Path, progress: Progress) -> Contents:
    """Every file of the backup, written and on disk, with what was written."""
    whole = file.stat().st_size
    there: Contents = {}
    try:
        with tarfile.open(file, mode="r:") as tar:
            for entry in tar:
                name = PurePosixPath(entry.name)
                if not entry.isfile() or name.is_absolute() or ".." in name.parts:
                    raise StoredDataDamaged(f"{file}: holds '{entry.name}', which no backup of ours does")
                source = tar.extractfile(entry)
                if source is not None:
                    there[entry.name] = _written(source, part / name)
                progress(entry.offset_data + entry.size, whole)
    except tarfile.ReadError as error:
        raise StoredDataDamaged(f"{file}: not readable as a backup ({error}); take another one") from error
    return there


def _written(source: IO[bytes], path: Path) -> FileFact:
    digest, size = hashlib.sha256(), 0
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("xb") as out:
        while data := source.read(_AT_ONCE):
            out.write(data)
            digest.update(data)
            size += len(data)
        out.flush()
        os.fsync(out.fileno())
    return FileFact(size, digest.hexdigest())


def _contents(path: Path, file: Path) -> Contents:
    """What the backup says that it holds."""
    try:
        body = json.loads(path.read_bytes())
        told_format, version = body["format"], int(body["version"])
        contents = {name: FileFact(**fact) for name, fact in body["files"].items()}
    except FileNotFoundError as error:
        raise StoredDataDamaged(
            f"{file}: was cut short, its {CONTENTS} is missing; take another one"
        ) from error
    except (ValueError, KeyError, TypeError) as error:
        raise StoredDataDamaged(f"{file}: its {CONTENTS} cannot be read; take another one") from error
    if told_format != FORMAT:
        raise WrongInput(f"{file}: is no backup of a store")
    if version > VERSION:
        raise WrongInput(f"{file}: written by a newer meltledger (version {version}); update this one")
    return contents


def _compare(there: Contents, contents: Contents, file: Path) -> None:
    wrong = sorted(n for n in contents if there.get(n) != contents[n])
    wrong += sorted(set(there) - set(contents) - {CONTENTS})
    if wrong:
        raise StoredDataDamaged(
            f"{file}: {len(wrong)} of {len(contents)} files are not what was written, first {wrong[0]}; "
            "take another one"
        )


def _sync_folders(part: Path) -> None:
    disk = HostDisk()
    for folder in [*(p for p in part.rglob("*") if p.is_dir()), part]:
        disk.sync_folder(folder)
