"""Takes posts from the outbox to where they go, and says what became of each."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Final, Protocol

from historian.frame import NS
from rules.digest.outbox import Outbox, Post, State

DOUBT_NS: Final = 7 * 86_400 * NS
"""So long a post in doubt is told of in every digest."""


class Fate(StrEnum):
    """What became of a post."""

    SENT = "sent"  # the other side took it
    LATER = "later"  # nobody took it; it may be tried again
    REFUSED = "refused"  # the other side never will take it
    DOUBT = "doubt"  # it was handed over, and no answer came


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a try.

    Attributes:
        said: the other side's words, or what went wrong and what to do.
    """

    fate: Fate
    said: str


class Carrier(Protocol):
    """Brings posts of one way (mail, post, file) to where they go; never raises for what is outside."""

    def carry(self, post: Post, handing_over: Callable[[], None]) -> Outcome:
        """Bring one post.

        Args:
            handing_over: to be called just before the step with which the other side takes it; what it
                writes is on disk on return. Where twice is the same as once it need not be called.
        """
        ...


@dataclass(frozen=True, slots=True)
class Told:
    """A post and what became of it, for the journal."""

    post: Post
    outcome: Outcome


def empty(outbox: Outbox, carriers: Mapping[str, Carrier], clock: Callable[[], int]) -> list[Told]:
    """Bring every post whose time has come, those of a recipient in order.

    Another process that sends meanwhile is left to it.

    Args:
        carriers: way (what stands before the first colon of a recipient) → carrier.
        clock: gives the time, UTC nanoseconds.

    Returns:
        what became of each, in order; also those that an earlier process left handed over, as in doubt.
    """
    told: list[Told] = []
    with outbox.emptying() as mine:
        if not mine:
            return told
        while due := [p for p in outbox.due(clock()) if p.recipient.partition(":")[0] in carriers]:
            told += [Told(post, _carry(outbox, carriers, post, clock)) for post in due]
    return told


def _carry(outbox: Outbox, carriers: Mapping[str, Carrier], post: Post, clock: Callable[[], int]) -> Outcome:
    def handing_over() -> None:
        outbox.move(post, State.HANDED_OVER, clock(), "no answer yet")

    outcome = carriers[post.recipient.partition(":")[0]].carry(post, handing_over)
    now_ns = clock()
    match outcome.fate:
        case Fate.SENT:
            outbox.move(post, State.SENT, now_ns, outcome.said)
        case Fate.LATER:
            outbox.put_off(post, now_ns, outcome.said)
        case Fate.REFUSED:
            outbox.move(post, State.REFUSED, now_ns, outcome.said)
        case Fate.DOUBT:
            outbox.move(post, State.HANDED_OVER, now_ns, outcome.said)
    return outcome


def doubts(outbox: Outbox, since_ns: int) -> list[Post]:
    """The posts of which it is not known whether they arrived; none while another process sends.

    Args:
        since_ns: only those that were handed over from then on.
    """
    with outbox.emptying() as mine:
        found = outbox.in_state(State.HANDED_OVER) if mine else []
    return [p for p in found if p.changed_ns >= since_ns]
