"""What may be used beside what: comparison and tuning across customers only as agreed, by both. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Protocol

from trials.customers.agreement import NOBODY, Customer


class Owned(Protocol):
    """A trial, as far as it matters whose it is."""

    @property
    def name(self) -> str: ...
    @property
    def code_name(self) -> str: ...


def comparable(trials: Iterable[Owned], customers: Mapping[str, Customer]) -> list[str]:
    """Why trials may not be set side by side, a sentence for each customer in the way; none: they may.

    Trials of one customer always may; of several, where each of them agreed to it.
    """
    codes = sorted({t.code_name for t in trials})
    if len(codes) < 2:
        return []
    return [
        f"{code or 'A trial without a customer'}: no comparison with other customers' trials is agreed."
        for code in codes
        if customers.get(code, NOBODY).agreement.compare != "across"
    ]


def tunable(trial: Owned, for_code: str, customers: Mapping[str, Customer]) -> bool:
    """Whether a trial may be used to tune rules that will judge the trials of a customer.

    Args:
        for_code: that customer's code name; empty: whoever's trials.
    """
    agreed = customers.get(trial.code_name, NOBODY).agreement.tune
    return agreed == "across" or (agreed == "own" and for_code == trial.code_name != "")


def may_see(trial: Owned, user: str, customers: Mapping[str, Customer]) -> bool:
    """Whether a user may see a trial: those named for the trial, else those named for its customer.

    A trial without a code name is seen by everybody who has an account, one of a code name that is not in
    the register by nobody.
    """
    customer = customers.get(trial.code_name)
    if customer is None:
        return trial.code_name == ""
    own = customer.agreement.trial.get(trial.name)
    return user in (customer.agreement.see if own is None else own.see)
