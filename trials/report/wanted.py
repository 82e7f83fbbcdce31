"""What a report is asked for beside the trial itself. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Made:
    """Who made a report, and from what.

    Attributes:
        version: of the program.
        time_ns: when, UTC nanoseconds; None: not said, so that the same trial gives the same bytes.
        line_sha256: of the line's file; empty when not told.
        raw: where the samples lie; empty when not told.
    """

    version: str = ""
    time_ns: int | None = None
    line_sha256: str = ""
    raw: str = ""


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a report is asked for.

    Attributes:
        photos: SHA-256 of a photograph → a small copy of it as JPEG; what is not there is named only.
        made: see ``Made``.
        site: who made the trial, for the first page; empty when not told.
    """

    photos: Mapping[str, bytes] = field(default_factory=dict)
    made: Made = field(default_factory=Made)
    site: str = ""
