"""What speaks for or against this computer's clock: the time server, people, and the sources of a line."""

from __future__ import annotations

from pathlib import Path

import structlog

from collector import Inbox
from collector.timeserver import is_synchronised
from historian.clocks.record import read_record
from historian.clocks.trusted import Known, trusted_now
from historian.errors import MeltledgerError

log = structlog.get_logger()


def is_believed(folder: Path, clock_ns: int) -> bool:
    """Whether a time server or a person says that a reading of this computer's clock is right.

    Args:
        folder: of the line's store, where the record of what people say is.
        clock_ns: the reading, UTC nanoseconds.
    """
    said = Known(passed_ns=2**62, synchronised=is_synchronised(), confirmed_ns=_confirmed_ns(folder))
    return trusted_now(clock_ns, said).trusted


def what_is_known(folder: Path, inbox: Inbox, passed_ns: int | None) -> Known:
    """What is known beside the clock of a running line's computer.

    Args:
        passed_ns: newest arrival in the store at the start.
    """
    return Known(passed_ns, inbox.source_times(), is_synchronised(), _confirmed_ns(folder))


def _confirmed_ns(folder: Path) -> int | None:
    try:
        return read_record(folder).confirmed_ns
    except MeltledgerError as error:
        # Nothing that cannot be read speaks for the clock, and the line must go on.
        log.error("clock_record_not_read", reason=str(error))
        return None
