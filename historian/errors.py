"""What can go wrong with samples and their store, as a tree.

MeltledgerError
├── WrongInput            the file, the configuration or the call is wrong: mend it and try again
│   ├── UnknownUnit       a unit that is not on the allow-list
│   ├── UnitMismatch      two units that do not measure the same thing
│   └── UnknownTag        a tag path that the store does not hold
├── OutsideWorldAway      a machine, a broker or a disk does not answer now: wait and retry
│   ├── StoreFull         the disk is full or its quota is used up
│   └── StoreReadOnly     the folder or file cannot be written
└── StoredDataDamaged     what was kept cannot be read back as it was written
"""

from __future__ import annotations


class MeltledgerError(Exception):
    """The root of every error that meltledger raises on purpose."""


class WrongInput(MeltledgerError):
    """The file, the configuration or the call is wrong: mend it and try again."""


class UnknownUnit(WrongInput):
    """A unit that is not on the allow-list."""


class UnitMismatch(WrongInput):
    """Two units that do not measure the same thing."""


class UnknownTag(WrongInput):
    """A tag path that the store does not hold."""


class OutsideWorldAway(MeltledgerError):
    """A machine, a broker or a disk does not answer now: wait and retry."""


class StoreFull(OutsideWorldAway):
    """The disk is full or its quota is used up."""


class StoreReadOnly(OutsideWorldAway):
    """The folder or file of the store cannot be written."""


class StoredDataDamaged(MeltledgerError):
    """What was kept cannot be read back as it was written."""
