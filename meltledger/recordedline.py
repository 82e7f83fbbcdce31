"""A line with its trial record open, as the verbs of a trial need it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from zoneinfo import ZoneInfo

from historian.errors import WrongInput
from meltledger.config import LineConfig, load
from meltledger.windows import trials_named
from trials.record import Trial, TrialRecord


@dataclass(frozen=True, slots=True)
class RecordedLine:
    """A line and its record.

    Attributes:
        zone: the site's.
    """

    config: LineConfig
    zone: ZoneInfo
    record: TrialRecord

    def trial(self, name: str | None) -> Trial:
        """The trial of that name; the one under way without one.

        Raises:
            WrongInput: there is none.
        """
        if name is None:
            under_way = self.record.under_way()
            if under_way is None:
                raise WrongInput(
                    "no trial is under way; open one: meltledger trial new FILE NAME, or name an earlier "
                    "one with --trial"
                )
            return under_way
        return trials_named(self.record.trials(), name)[-1]


@contextmanager
def recorded_line(file: Path) -> Iterator[RecordedLine]:
    """Open a line's record.

    Raises:
        LineFileWrong: with every fault found.
        StoreReadOnly, StoredDataDamaged: the record cannot be opened.
    """
    config = load(file)
    config.trials.parent.mkdir(parents=True, exist_ok=True)
    with closing(TrialRecord.open(config.trials)) as record:
        yield RecordedLine(config, ZoneInfo(config.file.line.zone), record)
