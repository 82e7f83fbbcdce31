"""What the rules tell of themselves in the journal, in sentences for a person."""

from __future__ import annotations

from historian.frame import NS
from rules.finding import Blind
from rules.lane import Stopped
from rules.words import minutes


def words_of_stop(stopped: Stopped) -> str:
    """A rule failed: at what, and what that means for the others."""
    where = "" if not stopped.tags else f" at the samples of {', '.join(stopped.tags[:3])}"
    more = "" if len(stopped.tags) <= 3 else f" and {len(stopped.tags) - 3} more"
    lane = " (for late samples)" if stopped.late else ""
    return (
        f"rule {stopped.rule}{lane} stopped{where}{more}: {stopped.reason}. The other rules go on and "
        "its alarms stay as they were; it judges again after the line's program is started again. "
        "Please report this as a defect."
    )


def words_of_blind(blind: Blind) -> str:
    """A rule could not judge for a while."""
    spell = minutes((blind.to_ns - blind.from_ns) / NS)
    return f"{blind.rule} could not judge {blind.subject or 'anything'} for {spell} min: {blind.why}"


def words_of_straggler(seq: int, second: int) -> str:
    """A frame came too late for its second."""
    return (
        f"frame {seq} came to the rules after second {second} of its arrival had been judged; it is "
        "judged with the next one, so judging again may differ here"
    )


def words_of_set_back(path: str) -> str:
    """The clock of a tag's source was set back."""
    return (
        f"the clock of the source of {path} was set back; the rules begin anew, and every alarm "
        "counts as returned until its rule finds the condition again"
    )
