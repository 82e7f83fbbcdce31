"""Reads the files in which customers stand: agreements by code name, and the real names apart from them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final

from historian.errors import MeltledgerError, WrongInput
from historian.retention import EVER_NS, Window
from meltledger.checked_toml import read_checked
from meltledger.config import LineConfig
from trials.customers import Customer, CustomersFile, NamesFile, comparable, customers_of
from trials.record import Trial

CUSTOMERS: Final = "customers.toml"
NAMES: Final = "customer-names.toml"
_PAGE: Final = "docs/customers.md"


def customers_file(config: LineConfig) -> Path:
    """Where a line's customers stand: beside its trial record."""
    return config.trials.parent / CUSTOMERS


def read_customers(config: LineConfig) -> Mapping[str, Customer] | None:
    """The line's customers by code name; None where nobody keeps such a file.

    Raises:
        LineFileWrong: with every fault, each with its line, key and remedy.
    """
    path = customers_file(config)
    return customers_of(read_checked(path, CustomersFile, _PAGE)[1]) if path.exists() else None


def read_names(config: LineConfig) -> Mapping[str, str]:
    """Code name → real name, for those who may read that file; empty where there is none.

    Raises:
        LineFileWrong: with every fault.
        WrongInput: others may read the file.
    """
    path = config.trials.parent / NAMES
    if not path.exists():
        return {}
    if path.stat().st_mode & 0o077:
        raise WrongInput(f"{path}: others can read it, and it holds real names; chmod 600 {path}")
    return read_checked(path, NamesFile, _PAGE)[1].name


def held_windows(config: LineConfig, trials: Sequence[Trial], now_ns: int) -> list[Window]:
    """The windows of which samples stay whatever their age: under way, or the agreed time is not over.

    Where the agreements cannot be read, every trial is held.
    """
    try:
        customers = read_customers(config) or {}
    except MeltledgerError:
        return [(t.start_ns, EVER_NS if t.end_ns is None else t.end_ns) for t in trials]
    held = []
    for trial in trials:
        if trial.end_ns is None:
            held.append((trial.start_ns, EVER_NS))
            continue
        customer = customers.get(trial.code_name)
        until_ns = None if customer is None else customer.kept_until_ns(trial.end_ns)
        if until_ns is not None and now_ns < until_ns:
            held.append((trial.start_ns, trial.end_ns))
    return held


def check_comparable(config: LineConfig, trials: Sequence[Trial]) -> None:
    """Refuse to set trials of customers side by side who did not agree to it.

    Raises:
        WrongInput: naming the code name of each who is in the way.
    """
    customers = read_customers(config)
    told = [] if customers is None else comparable(trials, customers)
    if told:
        raise WrongInput(
            "\n".join(told) + f'\nWhere it is agreed, write compare = "across" in {customers_file(config)}'
        )


def coded(config: LineConfig, customer: str, code_name: str) -> tuple[str, str]:
    """What a new trial's record says of whose it is: with a register, the code name only.

    Returns:
        customer and code name.

    Raises:
        WrongInput: the register has no such code name.
    """
    known = read_customers(config)
    if known is None:
        return customer, code_name
    given = code_name or customer
    if given and given not in known:
        listed = ", ".join(sorted(known)) or "none yet"
        raise WrongInput(
            f"{customers_file(config)}: there is no customer '{given}'; known: {listed}. Give a code name "
            "from there, or add [customer.NAME] to it"
        )
    return "", given
