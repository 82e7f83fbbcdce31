"""How a source's MQTT broker is reached: the keys that both kinds of MQTT source have."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import Field

from collector.mqtt.broker import address_of
from historian.written import Section
from meltledger.linefile.words import Place, Seconds, checked, variable


def broker_address(value: str) -> str:
    """The address of a broker; what is wrong is not repeated, because it may hold a password."""
    address_of(value)
    return value.rstrip("/")


class BrokerKeys(Section):
    """Address, login, certificates, session."""

    broker: Annotated[str, checked(broker_address)] = Field(
        description="Address: mqtt://HOST:PORT, or mqtts://HOST:PORT for an encrypted connection."
    )
    protocol: Literal["3.1.1", "5"] = Field("5", description="Version of MQTT.")
    client_id: Annotated[str, Field(pattern=r"^[0-9A-Za-z_.-]{1,64}$")] | None = Field(
        None, description="Our name at the broker, of this source alone; made of line and source if left out."
    )
    user: Annotated[str, Field(min_length=1)] | None = Field(None, description="User name to log in with.")
    password_env: Annotated[str, checked(variable)] | None = Field(
        None, description="user: the environment variable that holds the password."
    )
    password_file: str | None = Field(
        None, description="user: the file that holds it instead; relative to this file."
    )
    ca: str | None = Field(
        None, description="mqtts: PEM file of the authorities to trust instead of the system's."
    )
    certificate: str | None = Field(None, description="mqtts: PEM file of our own certificate, if asked for.")
    key: str | None = Field(None, description="certificate: its key, PEM without a pass phrase.")
    keepalive: Seconds = Field(
        15.0, description="How soon a dead connection is noticed.", validate_default=False
    )

    def broker_faults(self) -> Iterator[tuple[Place, str]]:
        """What is well formed but cannot be meant."""
        places = [k for k in ("password_env", "password_file") if getattr(self, k) is not None]
        if self.user is None:
            yield from (((k,), "belongs to a user name: add user, or take it out") for k in places)
        elif len(places) == 2:
            yield ("password_file",), "it stands in one place: take out password_env or password_file"
        if (self.certificate is None) != (self.key is None):
            there = "key" if self.certificate is None else "certificate"
            yield (there,), "certificate and key belong together: add the other one"
        if not self.broker.startswith("mqtts:"):
            given = [k for k in ("ca", "certificate", "key") if getattr(self, k) is not None]
            yield from (((k,), 'is for an encrypted connection: write broker = "mqtts://…"') for k in given)
        if not 1 <= self.keepalive <= 3600:
            yield ("keepalive",), "between 1 s and 1 h"
