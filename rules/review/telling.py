"""What to change, in sentences for a person."""

from __future__ import annotations

from collections.abc import Sequence

from rules.review.delays import Delays
from rules.review.history import OURS
from rules.review.proposal import LEAST_SPELLS, Proposal

ABOUT_PROPOSALS = (
    "Made from the same time that they are tested on: another week may differ. Whoever owns the alarm "
    "decides, by the site's way of changing alarms. A machine's own alarm is set at the machine, as its "
    "manual says."
)


def proposals_in_words(proposals: Sequence[Proposal]) -> list[str]:
    """A paragraph an alarm for which something is proposed, and one line for the others."""
    lines: list[str] = []
    for one in proposals:
        if proposes(one):
            lines += [f"{one.label}:", *(f"  {words}" for words in proposal_in_words(one))]
    for why, some in _nothing_for(proposals).items():
        lines.append(f"Nothing is proposed, {why}: {'; '.join(some)}.")
    return lines or ["No alarm came."]


def proposes(one: Proposal) -> bool:
    """Whether there is anything to change."""
    return one.delays != Delays() or one.band is not None


def proposal_in_words(one: Proposal) -> list[str]:
    """What to change at one alarm, what it would have made of the window, and where it is set."""
    said = []
    if one.delays != Delays():
        what = " and ".join(
            f"an {name} of {seconds:g} s more"
            for name, seconds in (("off-delay", one.delays.off_s), ("on-delay", one.delays.on_s))
            if seconds
        )
        verb = "would have" if what.count(" of ") == 1 else "together would have"
        said.append(f"{what[0].upper()}{what[1:]} {verb} left {_left(one)}.{_untold(one)}")
    if one.band is not None:
        noises = ", ".join(f"{path} {n.sigma:.2g} {one.band.unit}" for path, n in one.band.noises.items())
        now = "" if one.band.now is None else f" Now it is {one.band.now:g} {one.band.unit}."
        said.append(
            f"A dead band of {one.band.value:g} {one.band.unit} would ride out the noise ({noises}).{now}"
        )
    return [*said, f"Where: {where_to_set(one)}."]


def where_to_set(one: Proposal) -> str:
    """Which setting a proposal is about, or that there is none."""
    if not proposes(one):
        return "nothing is proposed"
    if one.name.origin != OURS:
        return "at the machine, as its manual says"
    wanted = (
        (one.delays.off_s > 0, "off-delay", one.off_parameter),
        (one.delays.on_s > 0, "on-delay", one.on_parameter),
        (one.band is not None, "dead band", one.band.parameter if one.band else None),
    )
    return "; ".join(
        f"{what}: {name} of the rule" if name else f"the rule has no {what} to set"
        for is_wanted, what, name in wanted
        if is_wanted
    )


def _left(one: Proposal) -> str:
    test = one.test
    left = f"{test.after} of {test.before} alarms"
    if not test.later_most_s or test.later_median_s is None:
        return f"{left}, none of them later" if test.after else left
    return f"{left}, {test.later_median_s:g} s later (median), at most {test.later_most_s:g} s"


def _untold(one: Proposal) -> str:
    if not one.test.untold:
        return ""
    return (
        f" Of {one.test.untold} disturbances nothing would have been told; their longest spell was "
        f"{one.test.longest_untold_s:g} s."
    )


def _nothing_for(proposals: Sequence[Proposal]) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for one in proposals:
        if not proposes(one):
            few = one.test.before < LEAST_SPELLS
            why = f"fewer than {LEAST_SPELLS} spells" if few else "no delay would help much"
            found.setdefault(why, []).append(one.label)
    return found
