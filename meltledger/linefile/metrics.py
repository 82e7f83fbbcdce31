"""The ``[metrics]`` section: where a running line tells other programs how it does."""

from __future__ import annotations

from ipaddress import ip_address
from typing import Annotated

from pydantic import Field

from historian.errors import WrongInput
from historian.written import Section
from meltledger.linefile.words import Seconds, checked


def _address(value: str) -> str:
    try:
        return str(ip_address(value))
    except ValueError as error:
        raise WrongInput(f"'{value}' is not an IP address; write one such as 127.0.0.1 or 0.0.0.0") from error


class MetricsSection(Section):
    """Where `meltledger run` answers ``/metrics`` and ``/healthz``; without it nothing listens."""

    port: int = Field(ge=1, le=65535, description="Port of `/metrics` and `/healthz` of `meltledger run`.")
    address: Annotated[str, checked(_address)] = Field(
        "127.0.0.1", description="IP address that it listens at; 0.0.0.0 for every one of this host's."
    )
    within: Seconds = Field(
        10.0,
        description="`/healthz`: the store must have taken samples within this time.",
        validate_default=False,
    )
