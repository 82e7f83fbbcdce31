"""Which photograph belongs to which section, by what is said to be seen on it. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from trials.record.entries import Entry, What
from trials.report.content import Block, Photograph, Small
from trials.report.view import View

_SUBJECTS: Final = {
    "material": ("material", "lot", "bale", "feed"),
    "screen": ("screen", "wiper", "discharge"),
    "pellets": ("sample", "pellet", "bag", "film"),
}


def subject_of(entry: Entry) -> str:
    """The first word of it that tells: material, screen, pellets; else finding."""
    words = str(entry.data["of"]).lower().replace(",", " ").split()
    for word in words:
        for subject, known in _SUBJECTS.items():
            if word in known or word.rstrip("s") in known:
                return subject
    return "finding"


def photographs(view: View, subject: str) -> list[Block]:
    """The photographs of a subject; one whose file is not there is named."""
    return list(_shown(view, (e for e in view.outcome.book.all_of(What.PHOTO) if subject_of(e) == subject)))


def _shown(view: View, entries: Iterable[Entry]) -> Iterable[Block]:
    for entry in entries:
        caption = view.say(
            "{what} ({file}, {when})",
            what=entry.data["of"],
            file=entry.data["name"],
            when=view.say.moment(entry.time_ns),
        )
        jpeg = view.wanted.photos.get(str(entry.data["sha256"]))
        if jpeg is None:
            yield Small(view.say("Photograph not at hand: {caption}", caption=caption))
        else:
            yield Photograph(jpeg, caption)
