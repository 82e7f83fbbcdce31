"""One stored trial judged by one or two versions of a line's rules: what a worker does."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from historian.errors import MeltledgerError
from meltledger.backtesting.archives import opened
from rules.backtest import Score, judged, score
from rules.backtest.said import Said
from rules.line import LineFacts


@dataclass(frozen=True, slots=True)
class Job:
    """What is to be done.

    Attributes:
        archive: the stored trial.
        rules: the lines whose rules judge it, one after the other.
        lot_s: seconds of arrival that are judged at once.
    """

    archive: Path
    rules: tuple[LineFacts, ...]
    lot_s: int


@dataclass(frozen=True, slots=True)
class Result:
    """What came of a job.

    Attributes:
        archive: the stored trial.
        scores: one for each version of the rules; none where there is no truth, or the trial did not read.
        said: what the first version said, where there is no truth to set it beside.
        error: why the trial could not be judged; empty: it was.
    """

    archive: Path
    scores: tuple[Score, ...] = ()
    said: tuple[Said, ...] = ()
    error: str = ""


def judge_trial(job: Job) -> Result:
    """Judge a stored trial; whatever it fails of is told in the result, and the other trials go on."""
    try:
        with opened(job.archive) as trial:
            records = [
                judged(trial.frames, trial.tags, facts, trial.told, lot_s=job.lot_s) for facts in job.rules
            ]
            if trial.truth is None:
                return Result(job.archive, said=records[0].said)
            return Result(job.archive, tuple(score(r, trial.truth) for r in records))
    except (MeltledgerError, OSError) as error:
        return Result(job.archive, error=str(error))
