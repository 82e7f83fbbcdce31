"""Network trouble on demand: what is done to whoever listens to the line, and when."""

from __future__ import annotations

import asyncio
import time
import tomllib
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal, Protocol, get_args

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from historian.errors import WrongInput

Deed = Literal["drop", "refuse", "delay", "half-open", "restart", "skew", "new certificate"]
DEEDS: Final[tuple[Deed, ...]] = get_args(Deed)
# What is done to the connection itself, whatever is spoken over it.
RELAYED: Final[frozenset[Deed]] = frozenset({"drop", "refuse", "delay", "half-open"})


@dataclass(frozen=True, slots=True)
class Trouble:
    """One deed.

    ``drop`` breaks every connection; peers may come back at once. ``refuse`` breaks them and lets nobody in.
    ``delay`` makes everything later in both directions. ``half-open`` lets everybody in and passes nothing.
    ``restart`` stops what serves and starts it again. ``skew`` sets the clock that stamps samples.
    ``new certificate`` shows another one and breaks every connection.

    Attributes:
        at_s: when, seconds of real time after the serving began.
        do: which.
        for_s: how long; of ``restart``: how long nothing listens. Drop, skew and certificate last.
        by_s: delay: how much later; skew: how far the clock is set on, or back.
        namespaces_before: restart over OPC UA: how many other namespaces then come before the line's own.
    """

    at_s: float
    do: Deed
    for_s: float = 0.0
    by_s: float = 0.0
    namespaces_before: int = 0


class Misbehaving(Protocol):
    """What serves the line, and can be made to misbehave."""

    async def make(self, trouble: Trouble) -> None:
        """Do it; comes back when it is done, or begun where it lasts.

        Raises:
            WrongInput: a deed that this server cannot do.
        """
        ...


async def make_when_due(troubles: Sequence[Trouble], line: Misbehaving, begun_s: float) -> None:
    """Do each deed when it is due; ``begun_s`` is the serving's begin on the monotonic clock."""
    for trouble in sorted(troubles, key=lambda trouble: trouble.at_s):
        await asyncio.sleep(max(0.0, begun_s + trouble.at_s - time.monotonic()))
        await line.make(trouble)


def check_troubles(troubles: Sequence[Trouble], possible: Collection[str], what: str) -> None:
    """Refuse before anything is served what could not be done then.

    Raises:
        WrongInput: naming the deed and what is possible.
    """
    for number, trouble in enumerate(troubles, start=1):
        if trouble.do not in possible:
            can = ", ".join(deed for deed in DEEDS if deed in possible)
            raise WrongInput(f"trouble {number}: '{trouble.do}' cannot be done to {what}; it can {can}")


def needs_relay(troubles: Sequence[Trouble]) -> bool:
    """Whether something has to stand between the line and its listeners."""
    return any(trouble.do in RELAYED for trouble in troubles)


class _Entry(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)

    at_s: float = Field(ge=0)
    do: Deed
    for_s: float = Field(0.0, ge=0, le=86_400)
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
