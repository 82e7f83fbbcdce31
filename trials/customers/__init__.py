"""Customers apart: what each agreed to, and what of a trial others may see."""

from trials.customers.agreement import Agreement, Customer, CustomersFile, NamesFile, customers_of
from trials.customers.sharing import comparable, may_see, tunable

__all__ = [
    "Agreement",
    "Customer",
    "CustomersFile",
    "NamesFile",
    "comparable",
    "customers_of",
    "may_see",
    "tunable",
]
