"""A tag that a person still has to confirm: keys that every tag of every kind of source may have."""

from __future__ import annotations

from collections.abc import Iterator

from pydantic import Field

from historian.catalogue import meaning_of
from historian.written import Section
from meltledger.linefile.words import TagPath


class ConfirmKeys(Section):
    """What was proposed for a tag, and whether a person has said that it is so."""

    text: str = Field("", max_length=400, description="What the machine calls it, for a person.")
    confirm: bool = Field(
        False,
        description="Nobody has confirmed yet what this is; it is kept under a neutral name until then.",
    )
    becomes: TagPath | None = Field(
        None, description="confirm: the tag that it is proposed to be; see [discovery.md](discovery.md)."
    )

    def confirm_faults(self, path: str) -> Iterator[str]:
        """What cannot be meant of a tag with this path."""
        if self.confirm and meaning_of(path) is not None:
            yield (
                f"what is to be confirmed is not kept as '{path}'; when it is that, take out confirm and "
                "becomes, else keep its neutral name"
            )
        if self.becomes is not None and not self.confirm:
            yield (
                f"becomes is a proposal, which goes with confirm = true; when it is '{self.becomes}', write "
                "that in the place of the neutral name and take out becomes"
            )
