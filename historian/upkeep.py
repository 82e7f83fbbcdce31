"""What a store's writer does now and then: rolls up what was sealed, and lets go of what has had its time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from historian.archive.writer import ArchiveWriter
from historian.retention import Keep, RetentionPlan, Window, plan_retention
from historian.rollup_writer import ReadSegment, RollupWriter


def upkeep(
    archive: ArchiveWriter,
    rollups: RollupWriter,
    read: ReadSegment,
    paths: Mapping[int, str],
    keep: Keep,
    *,
    now_ns: int,
    held: Sequence[Window] = (),
) -> RetentionPlan:
    """Bring the rollups up to the archive, then drop what the line's file lets go; gives what went.

    In that order, and each step whole on disk before the next: a stop in between leaves more, never less.

    Args:
        read: gives the samples of a segment.
        paths: tag number → path, for every tag in the archive.
        keep: how long each form of the samples stays.
        now_ns: the edge's clock, UTC nanoseconds.
        held: windows [start, end) to be kept whatever their age, such as trials.

    Raises:
        StoreFull, StoreReadOnly: what was not done yet is done at the next call.
    """
    segments = archive.manifest.segments
    rollups.bring_up(segments, read, paths)
    newest_ns = max((f.last_ns for s in segments for f in s.files), default=now_ns)
    plan = plan_retention(
        segments, rollups.reader.listed, keep, now_ns=now_ns, newest_ns=newest_ns, held=held
    )
    if plan.segments:
        archive.drop(plan.segments)
    if plan.rollups:
        rollups.drop(plan.rollups)
    return plan
