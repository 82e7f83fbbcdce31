"""What is agreed with a customer, under a code name; the real name stands in a file of its own. Pure.

The code name is what walls, mails, logs, packages and file names show. Whoever reads the agreements does not
learn whose they are.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Final, Literal

from pydantic import Field, field_validator

from historian.errors import WrongInput
from historian.retention import duration_ns
from historian.written import Section

CodeName = Annotated[str, Field(pattern=r"^[A-Za-z][A-Za-z0-9-]{1,30}$")]
"""Letters, digits and hyphens: it becomes part of file names."""

Sharing = Literal["own", "across"]


class TrialAccess(Section):
    """Who may see one trial, instead of those who may see all of the customer's."""

    see: list[str] = Field(description="User names.")


class Agreement(Section):
    """What is agreed with one customer; what is not told is the narrowest."""

    keep: str | None = Field(None, description="How long after a trial's end its data is kept, as 400d.")
    compare: Sharing = Field("own", description="Beside whose trials its own may be set.")
    tune: Literal["no", "own", "across"] = Field("no", description="For whose rules its trials may be used.")
    see: list[str] = Field([], description="Users who may see all its trials.")
    trial: dict[str, TrialAccess] = Field({}, description="Trials that others may see, by name.")

    @field_validator("keep")
    @classmethod
    def _is_duration(cls, keep: str | None) -> str | None:
        if keep is not None:
            try:
                duration_ns(keep)
            except WrongInput as error:
                raise ValueError(str(error)) from error
        return keep


class CustomersFile(Section):
    """``customers.toml``: code name → agreement."""

    customer: dict[CodeName, Agreement] = Field({})

    @field_validator("customer")
    @classmethod
    def _told_apart(cls, customer: dict[str, Agreement]) -> dict[str, Agreement]:
        """Some disks do not tell upper from lower case."""
        if len({code.lower() for code in customer}) != len(customer):
            raise ValueError("two code names differ in upper and lower case only; change one")
        return customer


class NamesFile(Section):
    """``customer-names.toml``: code name → the customer's real name."""

    name: dict[CodeName, Annotated[str, Field(min_length=1, max_length=200)]] = Field({})


@dataclass(frozen=True, slots=True)
class Customer:
    """A customer as everything but the names file knows it.

    Attributes:
        keep_ns: how long after a trial's end its data is kept, nanoseconds; None: nothing is agreed.
    """

    code_name: str
    agreement: Agreement

    @property
    def keep_ns(self) -> int | None:
        return None if self.agreement.keep is None else duration_ns(self.agreement.keep)

    def kept_until_ns(self, end_ns: int) -> int | None:
        """Until when the data of a trial that ended then is kept; None: nothing is agreed."""
        return None if self.keep_ns is None else end_ns + self.keep_ns


NOBODY: Final = Customer("", Agreement())
"""Whose trial names no customer of the register: the narrowest agreement."""


def customers_of(file: CustomersFile) -> Mapping[str, Customer]:
    """The customers by code name."""
    return {code: Customer(code, agreement) for code, agreement in file.customer.items()}
