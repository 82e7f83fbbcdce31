"""What can be wrong with a mapping file.

MeltledgerError (historian.errors)
└── WrongInput
    └── MappingWrong   one or more faults in a mapping, all of them gathered
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from historian.errors import WrongInput


@dataclass(frozen=True, slots=True)
class MappingFault:
    """One fault in a mapping.

    Attributes:
        line: line number in the mapping's file, from 1.
        key: the key, dotted.
        text: what is wrong and what to do.
    """

    line: int
    key: str
    text: str


class MappingWrong(WrongInput):
    """One or more faults in a mapping."""

    def __init__(self, where: str, faults: Sequence[MappingFault]) -> None:
        self.faults = tuple(sorted(faults, key=lambda f: (f.line, f.key)))
        super().__init__("\n".join(f"{where}:{f.line}: {f.key}: {f.text}" for f in self.faults))
