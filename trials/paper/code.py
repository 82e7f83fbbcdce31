"""The code on a label: which trial, and which of its samples or bags, with a check character. Pure.

``T12S7`` is the seventh sample of trial 12; behind it stands a check character after ISO 7064, MOD 37,36, by
which a slip of one character is found always, and nearly every swap of two neighbours.
Source: ISO/IEC 7064:2003, hybrid system MOD 37,36 (from memory).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from historian.errors import WrongInput

_SIGNS: Final = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_CODE: Final = re.compile(r"T([1-9]\d{0,8})(?:([SB])([1-9]\d{0,5}))?")


class Kind(StrEnum):
    """What carries the label."""

    TRIAL = ""
    SAMPLE = "S"
    BAG = "B"


_PARTED: Final = re.compile(r"-(.)$")


@dataclass(frozen=True, slots=True)
class Code:
    """What a label says.

    Attributes:
        trial: its number in the line's record.
        number: of the sample or bag, from 1 on; 0 for the trial itself.
    """

    trial: int
    kind: Kind = Kind.TRIAL
    number: int = 0

    @property
    def name(self) -> str:
        """How the sample or bag is called in the record, as S7 or B3; empty for the trial."""
        return f"{self.kind}{self.number}" if self.kind else ""

    @property
    def text(self) -> str:
        """With its check character.

        Example:
            >>> read_code(Code(12, Kind.SAMPLE, 7).text) == Code(12, Kind.SAMPLE, 7)
            True
        """
        body = f"T{self.trial}{self.name}"
        return body + check_character(body)

    @property
    def shown(self) -> str:
        """The same for people: the check character stands apart."""
        return f"{self.text[:-1]}-{self.text[-1]}"


def read_code(text: str) -> Code | None:
    """What a code says that somebody scanned or typed; None where it is no code of ours.

    Raises:
        WrongInput: it looks like one, but its check character is another.
    """
    told = _PARTED.sub(r"\1", text.strip().upper().replace(" ", ""))
    found = _CODE.fullmatch(told[:-1])
    if found is None or told[-1] not in _SIGNS:
        return None
    if check_character(told[:-1]) != told[-1]:
        if found[2] is None:  # a T and digits: somebody's own name
            return None
        raise WrongInput(f"'{text}': a character of the code is wrong; scan or read the label again")
    kind = Kind(found[2] or "")
    return Code(int(found[1]), kind, int(found[3] or 0))


def check_character(text: str) -> str:
    """The check character of digits and capital letters, after ISO 7064 MOD 37,36.

    Raises:
        ValueError: another character.
    """
    carried = 36
    for sign in text:
        summed = (carried + _SIGNS.index(sign)) % 36 or 36
        carried = summed * 2 % 37
    return _SIGNS[(1 - carried) % 36]
