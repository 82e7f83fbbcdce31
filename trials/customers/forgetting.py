"""What is deleted with a trial, and the proof of it. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from historian.errors import WrongInput
from historian.retention import EVER_NS, Window
from trials.record import Entry, Trial, What

FORM: Final = "meltledger proof of deletion 1"
NOT_REACHED: Final = (
    "Not reached: backups, exports and packages made before, the journal of alarms, and what others hold."
)


def windows_of(trial: Trial, kept: Iterable[Trial]) -> list[Window]:
    """The parts of a trial's window that no other trial's window needs, in order.

    Raises:
        WrongInput: it is under way.
    """
    if trial.end_ns is None:
        raise WrongInput(f"trial '{trial.name}' is under way; close it before it is deleted")
    left = [(trial.start_ns, trial.end_ns)]
    for other in kept:
        low, high = other.start_ns, EVER_NS if other.end_ns is None else other.end_ns
        left = [(a, b) for x, y in left for a, b in ((x, min(y, low)), (max(x, high), y)) if a < b]
    return left


def photos_of(entries: Iterable[Entry], others: Iterable[Entry]) -> list[str]:
    """SHA-256 of the photographs that only these entries name, whether they stand or not."""
    return sorted(_pictures(entries) - _pictures(others))


def check_may_go(trial: Trial, kept_until_ns: int | None, now_ns: int, why: str, until: str) -> None:
    """Refuse to delete a trial before its time.

    Args:
        kept_until_ns: by the agreement; None: nothing is agreed.
        why: a reason that stands in place of it; empty for none.
        until: that time for a person.

    Raises:
        WrongInput: it is under way; its time is not over, or nothing is agreed, and there is no reason.
    """
    if trial.end_ns is None:
        raise WrongInput(f"trial '{trial.name}' is under way; close it before it is deleted")
    if why.strip():
        return
    if kept_until_ns is None:
        raise WrongInput(
            f"nothing is agreed on how long trial '{trial.name}' is kept; write keep = \"400d\" in "
            "customers.toml, or give the reason: --why"
        )
    if now_ns < kept_until_ns:
        raise WrongInput(f"trial '{trial.name}' is kept until {until}; to delete it before: --why")


@dataclass(frozen=True, slots=True)
class Proof:
    """That a trial was deleted: its seal and hashes of what went, none of what it said.

    Attributes:
        code_name: of the customer.
        time_ns: when the deletion began, UTC nanoseconds.
        why: the reason, or that the agreed time was over.
        seal: SHA-256 of the seal; empty where the trial was never sealed.
        windows: of which samples were deleted, UTC nanoseconds.
        entries: how many, and under which hash of the record (see ``trials.seal``).
        tags: path → how many samples were deleted, and their hash.
        photos: SHA-256 of each that was deleted.
        done: whether it came to its end.
    """

    trial_id: int
    code_name: str
    time_ns: int
    by: str
    why: str
    seal: str
    windows: Sequence[Window]
    entries: int
    record: str
    tags: Mapping[str, tuple[int, str]]
    photos: Sequence[str]
    done: bool = False

    def to_json(self) -> dict[str, Any]:
        """As JSON types."""
        return {
            "form": FORM,
            "trial": self.trial_id,
            "code_name": self.code_name,
            "time_ns": self.time_ns,
            "by": self.by,
            "why": self.why,
            "seal": self.seal,
            "windows_ns": [list(w) for w in self.windows],
            "entries": self.entries,
            "record": self.record,
            "tags": {path: list(one) for path, one in sorted(self.tags.items())},
            "photos": list(self.photos),
            "done": self.done,
            "note": NOT_REACHED,
        }

    @classmethod
    def from_json(cls, kept: Mapping[str, Any], where: str) -> Proof:
        """What ``to_json`` gave.

        Raises:
            WrongInput: it is something else; ``where`` names it.
        """
        try:
            if kept["form"] != FORM:
                raise ValueError("another form")
            return cls(
                int(kept["trial"]),
                str(kept["code_name"]),
                int(kept["time_ns"]),
                str(kept["by"]),
                str(kept["why"]),
                str(kept["seal"]),
                [(int(a), int(b)) for a, b in kept["windows_ns"]],
                int(kept["entries"]),
                str(kept["record"]),
                {str(p): (int(n), str(h)) for p, (n, h) in kept["tags"].items()},
                [str(p) for p in kept["photos"]],
                bool(kept["done"]),
            )
        except (KeyError, TypeError, ValueError) as error:
            raise WrongInput(f"{where}: no proof of deletion that can be read ({error})") from error


def _pictures(entries: Iterable[Entry]) -> set[str]:
    return {str(e.data["sha256"]) for e in entries if e.what is What.PHOTO}
