"""Which segments make up an archive again, from what is sound on the disk. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from historian.archive.manifest import FileEntry, Kind, Level, Manifest, Segment
from historian.care.findings import Facts, FileFact
from historian.care.judge import said


@dataclass(frozen=True, slots=True)
class Candidate:
    """A form of a segment as its own frames file tells it.

    Attributes:
        line: the line's name.
        sealed_seq: what the manifest that brought it said.
    """

    segment: Segment
    line: str
    sealed_seq: int


@dataclass(frozen=True, slots=True)
class Mended:
    """The archive as it can stand again.

    Attributes:
        manifest: the list to be written.
        told: a sentence for each thing that is no more as it was, for a person.
        aside: sound files that the new list leaves out, and that would be swept away if they stayed.
    """

    manifest: Manifest
    told: tuple[str, ...] = ()
    aside: tuple[str, ...] = ()


def mended(facts: Facts, candidates: Sequence[Candidate]) -> Mended:
    """The best list that the sound files allow.

    Where the old list is sound, all its whole segments stay, and only what it had is looked for: what went at
    the end of its time does not come back. A damaged segment gives way to an older form of it that is whole
    and holds more, else its sound files stay. Where the list is lost, each window takes a day before the
    hours in it and the highest generation.
    """
    there = facts.archive_files
    whole = [c.segment for c in candidates if _is_whole(c.segment, there)]
    old = facts.manifest
    if old is None:
        kept = _chosen(whole)
        hurt = _chosen(c.segment for c in candidates if not any(_meet(c.segment, k) for k in kept))
        sealed_seq = max((c.sealed_seq for c in candidates), default=0)
        base = Manifest(next((c.line for c in candidates), ""), sealed_seq=sealed_seq)
    else:
        kept = _chosen(s for s in old.segments if _is_whole(s, there))
        hurt = [s for s in old.segments if s not in kept]
        base = old
    told: list[str] = []
    for segment in hurt:
        if any(_meet(segment, k) for k in kept):
            told.append(f"{_named(segment)} is left out: another segment holds its time")
            continue
        instead, sentence = _instead(segment, whole, there)
        kept += instead
        told.append(sentence)
    manifest = _listed(replace(base, sealed_seq=_sealed(facts, base.sealed_seq)), kept, candidates)
    return Mended(manifest, tuple(told), _aside(facts, manifest, whole))


def _sealed(facts: Facts, told: int) -> int:
    """Up to which arrival number everything is in the segments, for sure.

    Whatever is still in ``recent.db`` is sealed once more: it may be what a damaged segment held, and where
    the list was lost, a sealing that was cut short may have told too high a number.
    """
    return min([told, *(row.first_seq - 1 for row in facts.rows[:1])])


def _aside(facts: Facts, manifest: Manifest, whole: Sequence[Segment]) -> tuple[str, ...]:
    """Files that are kept for a person to look at, because what they hold may be nowhere else."""
    named = {f.path for f in manifest.files()}
    if facts.manifest is None:
        superseded = {f.path for s in whole for f in s.files}
        return tuple(sorted(set(facts.archive_files) - named - superseded))
    out = [f for s in facts.manifest.segments for f in s.files if f.path not in named]
    return tuple(sorted(f.path for f in out if _is_sound(f, facts.archive_files)))


def _listed(base: Manifest, kept: Iterable[Segment], candidates: Sequence[Candidate]) -> Manifest:
    """The list of these segments, of a generation that no file has."""
    segments = tuple(sorted(kept, key=lambda s: s.start_ns))
    named = {f.path for s in segments for f in s.files}
    before = {f.path for s in base.segments for f in s.files} | set(base.retired)
    generation = max([base.generation, *(c.segment.generation for c in candidates)]) + 1
    return replace(base, generation=generation, segments=segments, retired=tuple(sorted(before - named)))


def _instead(
    segment: Segment, whole: Sequence[Segment], there: Mapping[str, FileFact]
) -> tuple[list[Segment], str]:
    """What stands for a damaged segment, and what to say of it."""
    others = _chosen(w for w in whole if segment.start_ns <= w.start_ns and w.end_ns <= segment.end_ns)
    regained = sum(o.samples for o in others)
    files = tuple(f for f in segment.files if _is_sound(f, there))
    left = sum(f.samples for f in files if f.kind in (Kind.WIDE, Kind.LONG))
    if others and regained >= left:
        lost = segment.samples - regained
        rest = f"; {lost} of {segment.samples} samples are lost" if lost > 0 else ""
        return others, f"{_named(segment)} is back from an earlier form of it{rest}"
    if left == 0:
        return [], f"{_named(segment)} is lost with its {segment.samples} samples"
    gone = [f for f in segment.files if f not in files]
    lost_tags = {t for f in gone if f.kind in (Kind.WIDE, Kind.LONG) for t in f.tags}
    words = [f"{segment.samples - left} of {segment.samples} samples are lost, of {len(lost_tags)} tags"]
    if any(f.kind is Kind.FRAMES for f in gone):
        words.append("when its samples arrived is lost, and their source time stands for it")
    if any(f.kind is Kind.AUDIT for f in gone):
        words.append("what later samples replaced in it is lost")
    said_so = words if left < segment.samples else words[1:]
    return [
        replace(segment, files=files, samples=left)
    ], f"{_named(segment)} stays in part: {'; '.join(said_so)}"


def _chosen(segments: Iterable[Segment]) -> list[Segment]:
    """Segments that do not meet: a day before the hours in it, the highest generation first."""
    found: list[Segment] = []
    for segment in sorted(segments, key=lambda s: (s.level is not Level.DAY, -s.generation, s.start_ns)):
        if not any(_meet(segment, other) for other in found):
            found.append(segment)
    return found


def _meet(one: Segment, other: Segment) -> bool:
    return one.start_ns < other.end_ns and other.start_ns < one.end_ns


def _is_sound(file: FileEntry, there: Mapping[str, FileFact]) -> bool:
    return there.get(file.path) == FileFact(file.bytes, file.sha256)


def _is_whole(segment: Segment, there: Mapping[str, FileFact]) -> bool:
    return bool(segment.files) and all(_is_sound(f, there) for f in segment.files)


def _named(segment: Segment) -> str:
    return f"the {segment.level} from {said(segment.start_ns)}"
