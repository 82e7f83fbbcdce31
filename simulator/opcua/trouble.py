"""What a served line does to its clients, and when: frozen, dropped, restarted, with a wrong clock."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, get_args

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from historian.errors import WrongInput
from simulator.opcua.served import ServedLine

Deed = Literal["freeze", "drop", "restart", "skew", "new certificate"]
DEEDS: tuple[str, ...] = get_args(Deed)


@dataclass(frozen=True, slots=True)
class Trouble:
    """One deed.

    Attributes:
        at_s: when, seconds of real time after the serving began.
        do: which.
        for_s: freeze: how long; restart: how long nothing listens.
        by_s: skew: how far the source clock is set on, or back.
        namespaces_before: restart: how many other namespaces then come before the line's own.
    """

    at_s: float
    do: Deed
    for_s: float = 0.0
    by_s: float = 0.0
    namespaces_before: int = 0

    async def make(self, line: ServedLine) -> None:
        """Do it."""
        match self.do:
            case "freeze":
                line.freeze(self.for_s)
            case "drop":
                line.drop()
            case "restart":
                await line.restart(down_s=self.for_s, namespaces_before=self.namespaces_before)
            case "skew":
                line.skew(self.by_s)
            case "new certificate":
                await line.change_certificate()


class _Entry(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)

    at_s: float = Field(ge=0)
    do: Deed
    for_s: float = Field(0.0, ge=0, le=3600)
    by_s: float = 0.0
    namespaces_before: int = Field(0, ge=0, le=100)


class _File(BaseModel):
    model_config = ConfigDict(extra="forbid")

    trouble: list[_Entry]


def load_troubles(path: Path) -> list[Trouble]:
    """The deeds of a TOML file with a table ``[[trouble]]`` for each.

    Raises:
        WrongInput: the file cannot be read, with everything that is wrong in it.
    """
    try:
        file = _File.model_validate(tomllib.loads(path.read_text(encoding="utf-8")))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise WrongInput(f"{path}: cannot be read as a file of troubles ({error})") from error
    except ValidationError as error:
        faults = "; ".join(f"{'.'.join(map(str, e['loc']))}: {e['msg']}" for e in error.errors())
        raise WrongInput(f"{path}: {faults}") from error
    return [Trouble(**entry.model_dump()) for entry in file.trouble]
