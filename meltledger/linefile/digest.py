"""The ``[digest]`` section: when a maintenance digest is made, and where it goes."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Annotated
from urllib.parse import urlsplit

from pydantic import AfterValidator, Field

from historian.errors import WrongInput
from historian.written import Section
from meltledger.linefile.words import Place, checked, variable
from rules.digest.period import start_of


def _starts(values: tuple[str, ...]) -> tuple[str, ...]:
    try:
        starts = [start_of(v) for v in values]
    except WrongInput as error:
        raise ValueError(str(error)) from error
    if len(set(starts)) < len(starts):
        raise ValueError("each shift begins at a time of its own; take the double one out")
    return values


def mail_address(value: str) -> str:
    """The address of a mailbox: no name, no brackets, no letters that need an extension of the server."""
    if not re.fullmatch(r"[A-Za-z0-9.!#$%&'*+/=?^_`{|}~-]{1,64}@[A-Za-z0-9-]+(\.[A-Za-z0-9-]+)*", value):
        raise WrongInput(f"'{value}' is no mail address; write it as maintenance@site.example")
    return value


def _mail_addresses(values: tuple[str, ...]) -> tuple[str, ...]:
    try:
        every = [mail_address(v) for v in values]
    except WrongInput as error:
        raise ValueError(str(error)) from error
    if len({v.lower() for v in every}) < len(every):
        raise ValueError("each address once; take the double one out")
    return values


def mail_server(value: str) -> str:
    """The address of a mail server; what is wrong is not repeated, because it may hold a password."""
    parts = urlsplit(value)
    if "@" in value:
        raise WrongInput(
            "no user or password here; name their place: login_file, or user_env and password_env"
        )
    port = _port(value)
    if parts.scheme not in ("smtp", "smtps") or not parts.hostname or parts.path or parts.query or port == 0:
        raise WrongInput(
            "not the address of a mail server; write smtp://HOST:587 (STARTTLS) or smtps://HOST:465 (TLS)"
        )
    return value


def web_address(value: str) -> str:
    """Where a digest is posted to; what is wrong is not repeated, because it may hold a secret."""
    parts = urlsplit(value)
    if "@" in parts.netloc:
        raise WrongInput("no user or password here; name the token's place with token_env or token_file")
    if parts.scheme != "https" or not parts.hostname or parts.fragment or _port(value) == 0:
        raise WrongInput("not an address that a digest may go to; write https://HOST/PATH")
    if not value.isascii() or any(c.isspace() for c in value):
        raise WrongInput("an address holds neither spaces nor letters beyond ASCII; write it percent-encoded")
    return value


def _port(value: str) -> int | None:
    """The port that an address names; 0 when it is none."""
    try:
        return urlsplit(value).port
    except ValueError:
        return 0


class PartSection(Section):
    """A part number, for the work list."""

    at: Annotated[str, Field(pattern=r"^[a-z0-9_-]+(\.([a-z0-9_-]+|\*))*$")] = Field(
        description="Which part, as its path; `*` stands for one piece of it: `filter.plate.*`."
    )
    number: Annotated[str, Field(min_length=1, max_length=60)] = Field(description="Its part number.")

    def is_of(self, part: str) -> bool:
        """Whether it is the number of a part."""
        own, other = self.at.split("."), part.split(".")
        return len(own) == len(other) and all(a in ("*", b) for a, b in zip(own, other, strict=True))


class DigestSection(Section):
    """The maintenance digest: when it is made and where it goes; see [digest.md](digest.md)."""

    shifts: Annotated[tuple[str, ...], AfterValidator(_starts)] = Field(
        (),
        description='When shifts begin on the site\'s clock: ["06:00", "14:00", "22:00"]; a digest each.',
    )
    daily: bool = Field(False, description="Whether there is a digest of each day as well.")
    mail: Annotated[tuple[str, ...], AfterValidator(_mail_addresses)] = Field(
        (), description='Mail addresses that get it, as ["maintenance@site.example"].'
    )
    smtp: Annotated[str, checked(mail_server)] | None = Field(
        None,
        description="mail, must be there: the server, smtp://HOST:587 (STARTTLS) or smtps://HOST:465 (TLS).",
    )
    sender: Annotated[str, checked(mail_address)] | None = Field(
        None, description="mail, must be there: address of the sender."
    )
    login_file: str | None = Field(
        None, description="smtp: file with the user in its first and the password in its second line."
    )
    user_env: Annotated[str, checked(variable)] | None = Field(
        None, description="smtp: environment variable that holds the user instead."
    )
    password_env: Annotated[str, checked(variable)] | None = Field(
        None, description="smtp: environment variable that holds the password instead."
    )
    webhook: Annotated[str, checked(web_address)] | None = Field(
        None, description="Web address, https, that gets it as JSON."
    )
    token_env: Annotated[str, checked(variable)] | None = Field(
        None, description="webhook: environment variable that holds its bearer token."
    )
    token_file: str | None = Field(None, description="webhook: the file that holds it instead.")
    folder: str | None = Field(None, description="Folder that gets it as a page; relative to this file.")
    ca: str | None = Field(
        None,
        description="File with the certificates of the site's own authority, PEM; relative to this file.",
    )
    part: tuple[PartSection, ...] = ()

    def faults(self) -> Iterator[tuple[Place, str]]:
        """What is well formed but cannot be meant."""
        if self.mail and self.smtp is None:
            yield ("mail",), 'a mail needs a server: add smtp = "smtp://HOST:587", or what it is called'
        if self.mail and self.sender is None:
            yield (
                ("mail",),
                'a mail needs a sender: add sender = "line@site.example", or what the server permits',
            )
        of_mail = ("smtp", "sender", "login_file", "user_env", "password_env")
        if not self.mail:
            given = (key for key in of_mail if getattr(self, key) is not None)
            yield from (((key,), 'belongs to mail: add mail = ["…"], or take it out') for key in given)
        if self.login_file is not None and (self.user_env or self.password_env):
            yield (
                ("login_file",),
                "the login stands in one place: take out login_file, or user_env and password_env",
            )
        if (self.user_env is None) != (self.password_env is None):
            there = "user_env" if self.password_env is None else "password_env"
            yield (there,), "user_env and password_env belong together: add the other one"
        if self.token_env is not None and self.token_file is not None:
            yield ("token_file",), "the token stands in one place: take out token_env or token_file"
        for key in ("token_env", "token_file"):
            if self.webhook is None and getattr(self, key) is not None:
                yield (key,), "belongs to webhook: add webhook, or take it out"
        goes = self.mail or self.webhook or self.folder
        if (self.shifts or self.daily) and not goes:
            yield (), "a digest goes somewhere: add mail, webhook or folder"
        if goes and not (self.shifts or self.daily):
            yield (), 'say when a digest is made: add shifts = ["06:00", "14:00", "22:00"] or daily = true'
