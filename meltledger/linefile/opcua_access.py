"""How an OPC UA source gets in: the keys of its section that say security, login and certificates."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import Field

from historian.errors import WrongInput
from historian.written import Section
from meltledger.linefile.words import Place, checked, variable


def opcua_address(value: str) -> str:
    """The address of a server; what is wrong is not repeated, because it may hold a password."""
    if "@" in value:
        raise WrongInput("no user or password here; add user, and name the password's place in password_env")
    if not re.match(r"opc\.tcp://[^/\s]+", value):
        raise WrongInput("not the address of an OPC UA server; write opc.tcp://HOST:4840")
    return value


class AccessKeys(Section):
    """Security, login and certificates."""

    endpoint: Annotated[str, checked(opcua_address)] = Field(description="Address: opc.tcp://HOST:PORT/PATH.")
    security: Literal[
        "None",
        "Basic256Sha256/Sign",
        "Basic256Sha256/SignAndEncrypt",
        "Aes128_Sha256_RsaOaep/Sign",
        "Aes128_Sha256_RsaOaep/SignAndEncrypt",
        "Aes256_Sha256_RsaPss/Sign",
        "Aes256_Sha256_RsaPss/SignAndEncrypt",
    ] = Field("None", description="Security policy and mode; see [opc-ua.md](opc-ua.md).")
    user: Annotated[str, Field(min_length=1)] | None = Field(None, description="User name to log in with.")
    password_env: Annotated[str, checked(variable)] | None = Field(
        None, description="user: the environment variable that holds the password."
    )
    password_file: str | None = Field(
        None, description="user: the file that holds it instead; relative to this file."
    )
    user_certificate: str | None = Field(
        None, description="Certificate to log in with instead of a user name; relative to this file."
    )
    user_key: str | None = Field(
        None, description="user_certificate: its key, PEM without a pass phrase; relative to this file."
    )
    certificates: str = Field(
        "pki", description="Folder of our own certificate and the trusted ones; relative to this file."
    )

    @property
    def is_guarded(self) -> bool:
        """Whether certificates or a login are needed."""
        return self.security != "None" or self.user is not None or self.user_certificate is not None

    def access_faults(self) -> Iterator[tuple[Place, str]]:
        """What is well formed but cannot be meant."""
        places = [k for k in ("password_env", "password_file") if getattr(self, k) is not None]
        if self.user is None:
            yield from (((k,), "belongs to a user name: add user, or take it out") for k in places)
        elif not places:
            yield ("user",), "a user needs a password: name its place with password_env or password_file"
        elif len(places) == 2:
            yield ("password_file",), "it stands in one place: take out password_env or password_file"
        if self.user is not None and self.user_certificate is not None:
            yield ("user_certificate",), "one login is enough: take out user or user_certificate"
        if self.user_certificate is not None and self.security == "None":
            yield ("user_certificate",), "a user certificate needs a secured connection: set security"
        if (self.user_certificate is None) != (self.user_key is None):
            there = "user_key" if self.user_certificate is None else "user_certificate"
            yield (there,), "user_certificate and user_key belong together: add the other one"
