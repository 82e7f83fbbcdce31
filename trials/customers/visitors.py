"""What a page shows while visitors stand before it: code names, and nothing of a recipe. Pure.

Only what is listed is shown: a tag that nobody thought of stays hidden.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fnmatch import fnmatchcase
from typing import Final, TypeVar

from trials.record import Trial

Shown = TypeVar("Shown")

FOR_VISITORS: Final = ("*.state", "*.pressure.pv", "filter.dp.calc", "edge.*")
"""Tags that tell how the line is, not how it is run; no set-point, speed, throughput or temperature."""

_NO_NAME: Final = "a trial"


@dataclass(frozen=True, slots=True)
class VisitorTrial:
    """A trial as visitors see it.

    Attributes:
        called: the customer's code name.
        start_ns, end_ns: UTC nanoseconds.
    """

    called: str
    start_ns: int
    end_ns: int | None


def trial_for_visitors(trial: Trial) -> VisitorTrial:
    """Without the trial's own name, its customer and its plan."""
    return VisitorTrial(trial.code_name or _NO_NAME, trial.start_ns, trial.end_ns)


def tags_for_visitors(values: Mapping[str, Shown], shown: Iterable[str] = FOR_VISITORS) -> dict[str, Shown]:
    """What may be shown of values by tag path.

    Args:
        shown: patterns of the paths that may be.
    """
    patterns = tuple(shown)
    return {
        path: value
        for path, value in values.items()
        if not path.endswith(".sp") and any(fnmatchcase(path, p) for p in patterns)
    }


def without_names(text: str, called: Mapping[str, str]) -> str:
    """A text with what must not be read replaced, longest first, in whatever case it is written.

    Args:
        called: what must not be read, such as a customer's or a trial's name → what stands there instead.

    Example:
        >>> without_names("FOLIENKREIS: bale 7", {"Folienkreis": "heron"})
        'heron: bale 7'
    """
    told = {hidden.lower(): instead for hidden, instead in called.items() if hidden}
    if not told:
        return text
    longest = sorted(told, key=len, reverse=True)
    pattern = re.compile("|".join(re.escape(h) for h in longest), re.IGNORECASE)
    return pattern.sub(lambda found: told.get(found[0].lower(), _NO_NAME), text)
