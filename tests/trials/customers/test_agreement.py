"""Agreements: what is not told is the narrowest, and what both did not agree to is not done."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from historian.archive.manifest import DAY_NS
from trials.customers import CustomersFile, comparable, customers_of, may_see, tunable
from trials.record import Trial

FILE = CustomersFile.model_validate(
    {
        "customer": {
            "heron": {"keep": "400d", "compare": "across", "tune": "across", "see": ["ada"]},
            "wren": {"tune": "own", "see": ["ben"], "trial": {"secret": {"see": ["cat"]}}},
            "finch": {"compare": "across"},
        }
    }
)
CUSTOMERS = customers_of(FILE)


def trial(code: str, name: str = "a trial") -> Trial:
    return Trial(1, name, "", code, 0, 1)


def test_trials_of_one_customer_may_always_be_compared() -> None:
    assert comparable([trial("wren"), trial("wren", "another")], CUSTOMERS) == []


def test_across_customers_each_must_have_agreed() -> None:
    assert comparable([trial("heron"), trial("finch")], CUSTOMERS) == []
    (told,) = comparable([trial("heron"), trial("wren")], CUSTOMERS)
    assert told.startswith("wren:")
    assert len(comparable([trial("stork"), trial("")], CUSTOMERS)) == 2


@pytest.mark.parametrize(
    ("whose", "rules_for", "may"),
    [
        ("heron", "wren", True),
        ("heron", "", True),
        ("wren", "wren", True),
        ("wren", "heron", False),
        ("wren", "", False),
        ("finch", "finch", False),
        ("stork", "stork", False),
        ("", "", False),
    ],
)
def test_rules_are_tuned_only_as_agreed(whose: str, rules_for: str, may: bool) -> None:
    assert tunable(trial(whose), rules_for, CUSTOMERS) is may


def test_who_may_see_which_trial() -> None:
    assert may_see(trial("heron"), "ada", CUSTOMERS)
    assert not may_see(trial("heron"), "ben", CUSTOMERS)
    assert may_see(trial("wren"), "ben", CUSTOMERS)
    # One trial's own list stands in place of the customer's.
    assert not may_see(trial("wren", "secret"), "ben", CUSTOMERS)
    assert may_see(trial("wren", "secret"), "cat", CUSTOMERS)
    assert not may_see(trial("stork"), "ada", CUSTOMERS)
    assert may_see(trial(""), "ada", CUSTOMERS)


def test_how_long_data_is_kept() -> None:
    assert CUSTOMERS["heron"].kept_until_ns(5) == 5 + 400 * DAY_NS
    assert CUSTOMERS["wren"].kept_until_ns(5) is None


@pytest.mark.parametrize(
    "customer",
    [
        {"heron": {"keep": "a while"}},
        {"heron": {"compare": "all"}},
        {"heron": {"name": "Real Ltd"}},
        {"../heron": {}},
        {"heron": {}, "Heron": {}},
    ],
)
def test_what_cannot_be_is_refused(customer: dict[str, object]) -> None:
    with pytest.raises(ValidationError):
        CustomersFile.model_validate({"customer": customer})
