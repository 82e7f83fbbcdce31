"""Judging what was seen, without a disk."""

from __future__ import annotations

from dataclasses import replace

from historian.archive.manifest import DAY_NS, HOUR_NS, FileEntry, Kind, Level, Manifest, Segment
from historian.care.findings import Facts, FileFact, RowFact, Trouble
from historian.care.judge import SEALED_WITHIN_NS, judge
from historian.care.mend import Candidate, mended


def segment(level: Level, start_ns: int, generation: int = 1, samples: int = 10) -> Segment:
    path = f"{level}-{start_ns}-{generation}"
    frames = FileEntry(f"{path}-frames", Kind.FRAMES, 1, "f", 1, 0, start_ns, start_ns, 1, 1)
    wide = FileEntry(f"{path}-wide", Kind.WIDE, 1, "w", 1, samples, start_ns, start_ns, 1, 1, (1,))
    return Segment(level, start_ns, start_ns + level.span_ns, generation, samples, (wide, frames))


def there(*segments: Segment) -> dict[str, FileFact]:
    return {f.path: FileFact(f.bytes, f.sha256) for s in segments for f in s.files}


def kinds(facts: Facts) -> list[Trouble]:
    return [f.trouble for f in judge(facts) if f.trouble is not Trouble.BEHIND]


DAY = segment(Level.DAY, 0, generation=3, samples=100)
HOURS = [segment(Level.HOUR, h * HOUR_NS) for h in range(3)]


def test_an_overlap_is_found_and_what_loses_is_set_aside_not_swept() -> None:
    manifest = Manifest("line-1", 5, 9, (DAY, HOURS[1]))
    facts = Facts(manifest, archive_files=there(DAY, HOURS[1]))
    assert kinds(facts) == [Trouble.OVERLAP]
    again = mended(facts, [])
    assert again.manifest.segments == (DAY,)
    assert set(again.aside) == {f.path for f in HOURS[1].files}
    assert "another segment holds its time" in again.told[0]


def test_an_overlap_behind_a_short_segment_is_found_too() -> None:
    manifest = Manifest("line-1", 5, 9, (DAY, HOURS[1], HOURS[2]))
    assert kinds(Facts(manifest, archive_files=there(DAY, *HOURS))) == [
        Trouble.OVERLAP,
        Trouble.OVERLAP,
        Trouble.LEFTOVER,
        Trouble.LEFTOVER,
    ]


def test_what_went_at_the_end_of_its_time_does_not_come_back() -> None:
    """Hours whose files are still on the disk, beside a list that is sound and does not name them."""
    late = segment(Level.HOUR, 5 * DAY_NS)
    manifest = Manifest("line-1", 5, 9, (late,))
    facts = Facts(manifest, archive_files={**there(*HOURS), late.files[1].path: FileFact(1, "f")})
    again = mended(facts, [Candidate(h, "line-1", 9) for h in HOURS])
    assert again.manifest.segments == ()


def test_of_a_lost_list_the_day_and_the_newest_form_count() -> None:
    newer = segment(Level.HOUR, DAY_NS, generation=4)
    forms = [*HOURS, DAY, segment(Level.HOUR, DAY_NS, generation=2), newer]
    facts = Facts(None, "lost", there(*forms))
    again = mended(facts, [Candidate(s, "line-1", s.generation) for s in forms])
    assert again.manifest.segments == (DAY, newer)
    assert (again.manifest.generation, again.manifest.sealed_seq) == (5, 4)
    assert again.aside == ()


def test_a_part_of_a_segment_is_kept_when_it_holds_more_than_its_earlier_form() -> None:
    more = replace(DAY.files[0], path="second", samples=60, sha256="s", tags=(2,))
    day = replace(DAY, samples=160, files=(*DAY.files, more))
    facts = Facts(Manifest("line-1", 5, 9, (day,)), archive_files=there(DAY, *HOURS))
    again = mended(facts, [Candidate(h, "line-1", 9) for h in HOURS])
    assert again.manifest.segments == (replace(day, files=DAY.files, samples=100),)
    assert "60 of 160 samples are lost, of 1 tags" in again.told[0]


def test_rows_are_due_by_arrival_so_that_a_backfill_is_no_backlog() -> None:
    now_ns = 100 * HOUR_NS
    fresh = RowFact(1, 1, 5 * HOUR_NS, 5 * HOUR_NS + 9, now_ns, 3)
    assert kinds(Facts(rows=(fresh,))) == []
    old = replace(fresh, arrival_ns=now_ns - SEALED_WITHIN_NS - 1)
    newest = replace(fresh, first_seq=2, seq=2)
    assert kinds(Facts(rows=(old, newest))) == [Trouble.UNSEALED]
    assert kinds(Facts(Manifest("l", sealed_seq=1), rows=(old, newest))) == []
