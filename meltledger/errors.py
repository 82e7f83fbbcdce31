"""What can be wrong with the way meltledger is used.

MeltledgerError (historian.errors)
└── WrongInput
    └── LineFileWrong   one or more faults in a line's file, all of them gathered
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from historian.errors import WrongInput


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault in a line's file.

    Attributes:
        line: line number in the file, from 1.
        key: the key, dotted.
        text: what is wrong and what to do.
    """

    line: int
    key: str
    text: str


class LineFileWrong(WrongInput):
    """One or more faults in a line's file."""

    def __init__(self, path: Path, faults: Sequence[Fault]) -> None:
        self.path = path
        self.faults = tuple(sorted(faults, key=lambda f: (f.line, f.key)))
        super().__init__("\n".join(f"{path}:{f.line}: {f.key}: {f.text}" for f in self.faults))
