"""What a store's own files say of its tags, for when the table of tags is lost."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import pyarrow as pa
import pyarrow.parquet as pq

from historian.archive.manifest import FileEntry, Kind, Manifest
from historian.archive.tables import QUALITY
from historian.catalogue import canonical_tag, meaning_of
from historian.rollups.listed import RollupList
from historian.tags import Tag

_NOT_READ: Final = (pa.ArrowException, OSError, ValueError, KeyError)
_EDGE: Final = "edge"

Pair = tuple[int, str, str | None]
"""Number, path, and the unit where it is known."""


@dataclass(frozen=True, slots=True)
class Named:
    """The tags of a store, from whatever tells of them.

    Attributes:
        tags: by number.
        guessed: paths of which only what the segments and the catalogue say is known.
        nameless: numbers that samples have and nothing names; they stand under a path made of the number.
    """

    tags: Mapping[int, Tag]
    guessed: tuple[str, ...]
    nameless: tuple[int, ...]


def named(
    seen: Mapping[int, tuple[str, str | None]],
    described: Iterable[Mapping[int, Tag]],
    numbers: Iterable[int],
) -> Named:
    """Put together what is known of tags. Pure.

    Args:
        seen: number → path and unit, as the segments say: their word counts.
        described: whole descriptions by number, the best source first.
        numbers: of tags that samples have.
    """
    tags: dict[int, Tag] = {}
    for source in described:
        for number, tag in source.items():
            fits = number not in seen or seen[number][0] == tag.path
            if fits and number not in tags and tag.path not in {t.path for t in tags.values()}:
                tags[number] = tag
    simulated = any(t.simulated for t in tags.values())
    guessed = {n: _guess(n, path, unit, simulated) for n, (path, unit) in seen.items() if n not in tags}
    nameless = tuple(sorted(set(numbers) - set(tags) - set(guessed)))
    lost = {n: Tag(f"lost.tag.{n}", "1", text="its name was lost", id=n) for n in nameless}
    whole = {**tags, **guessed, **lost}
    return Named(dict(sorted(whole.items())), tuple(t.path for t in guessed.values()), nameless)


def _guess(number: int, path: str, unit: str | None, simulated: bool) -> Tag:
    meaning = meaning_of(path)
    source = _EDGE if path.startswith(f"{_EDGE}.") else ""
    tag = canonical_tag(path, source=source, simulated=simulated and not source, unit=unit or "1")
    same = meaning is None or unit in (None, meaning.unit)
    body = tag.to_json() if same else {**tag.to_json(), "unit": unit}
    return Tag.from_json(body, id=number)


def seen_in(
    folder: Path, archive: Manifest, rollup_folder: Path, rollups: RollupList
) -> dict[int, tuple[str, str | None]]:
    """Number → path and unit of every tag in the segments and rollups, the newest file's word first."""
    found: dict[int, tuple[str, str | None]] = {}
    wanted = {t for f in archive.files() for t in f.tags}
    for entry in sorted(archive.files(), key=lambda f: (f.kind is not Kind.WIDE, -f.last_ns)):
        if set(entry.tags) <= set(found):
            continue
        for number, path, unit in _quietly(_pairs_of(folder / entry.path, entry)):
            found.setdefault(number, (path, unit))
        if wanted <= set(found):
            break
    for file in reversed(rollups.files):
        for number, path, unit in _quietly(_listed(rollup_folder / file.path, "tag", "path")):
            found.setdefault(number, (path, unit))
    return found


def _pairs_of(path: Path, entry: FileEntry) -> Iterator[Pair]:
    if entry.kind is not Kind.WIDE:
        yield from _listed(path, "tag_id", "tag")
        return
    for field in pq.read_schema(path):
        note: Mapping[bytes, bytes] = field.metadata or {}
        if field.name not in ("time", "seq") and not field.name.endswith(QUALITY):
            yield int(note[b"PARQUET:field_id"]), field.name, note[b"unit"].decode()


def _listed(path: Path, number: str, name: str) -> Iterator[Pair]:
    table: Any = pq.read_table(path, columns=[number, name], partitioning=None)
    for row in table.group_by([number, name]).aggregate([]).to_pylist():
        yield row[number], row[name], None


def _quietly(pairs: Iterator[Pair]) -> list[Pair]:
    """None where the file does not read: it is told elsewhere."""
    try:
        return list(pairs)
    except _NOT_READ:
        return []
