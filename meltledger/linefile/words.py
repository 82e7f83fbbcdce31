"""Words that a line's file is written in: quantities with their unit, names, addresses, secrets' places."""

from __future__ import annotations

import re
from typing import Annotated, Any
from urllib.parse import urlsplit

from pydantic import AfterValidator, Field

from historian.errors import WrongInput
from historian.retention import duration_ns
from historian.tags import check_path
from historian.units import quantity, ucum
from historian.written import quantity_in

Place = tuple[str | int, ...]
"""Where in the file a key stands: its names and list positions, outermost first."""


def checked(check: Any) -> AfterValidator:
    """A check of ours, with its error in pydantic's list."""

    def run(value: str) -> str:
        try:
            return str(check(value))
        except WrongInput as error:
            raise ValueError(str(error)) from error

    return AfterValidator(run)


def duration(value: str) -> str:
    duration_ns(value)
    return value


def http_server(value: str) -> str:
    """The address of a server; what is wrong is not repeated, because it may hold a password."""
    parts = urlsplit(value)
    if parts.username is not None or parts.password is not None:
        raise WrongInput("no user or password here; name the secret's place with token_env or token_file")
    if parts.scheme not in ("http", "https") or not parts.hostname or parts.query or parts.fragment:
        raise WrongInput("not the address of a server; write http://HOST:8086")
    return value.rstrip("/")


def variable(value: str) -> str:
    """The name of an environment variable; what is wrong is not repeated, because it may be the secret."""
    if not re.fullmatch(r"[A-Za-z_][A-Za-z0-9_]*", value):
        raise WrongInput("not the name of an environment variable; the secret itself never stands here")
    return value


def dead_band(value: float | str) -> float | str:
    """A change in the tag's unit, or a share of the tag's range."""
    try:
        amount = quantity(value, "%") if isinstance(value, str) else value
    except WrongInput as error:
        raise ValueError(
            f'write a number in the tag\'s unit, or a share of its range as "2 %": {error}'
        ) from error
    if not 0 <= amount < float("inf"):
        raise ValueError("a dead band is 0 or more")
    return value


DeadBand = Annotated[float | str, AfterValidator(dead_band)]
Duration = Annotated[str, checked(duration)]
Milliseconds = Annotated[float, quantity_in("ms"), Field(gt=0)]
Pace = Annotated[float, quantity_in("ms"), Field(ge=0)]
"""Milliseconds; 0 for as fast as it goes."""
Seconds = Annotated[float, quantity_in("s"), Field(gt=0)]
Bar = Annotated[float, quantity_in("bar"), Field(gt=0)]
Degrees = Annotated[float, quantity_in("deg")]
UcumCode = Annotated[str, checked(ucum)]
TagPath = Annotated[str, checked(check_path)]
Name = Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9-]{0,62}$")]
