"""What can go wrong between a machine and the store.

MeltledgerError
├── WrongInput
│   ├── WrongNode             a node is written in a way that cannot be read, or names an unknown namespace
│   ├── UnsupportedSecurity   a security setting that this release does not have
│   └── SourceRefused         the endpoint is not what the line's file says it is
└── OutsideWorldAway
    └── SourceAway            the endpoint does not answer, or the connection broke
"""

from __future__ import annotations

from historian.errors import OutsideWorldAway, WrongInput


class WrongNode(WrongInput):
    """A node is written in a way that cannot be read, or names a namespace that the server does not have."""


class UnsupportedSecurity(WrongInput):
    """A security setting that this release does not have."""


class SourceRefused(WrongInput):
    """The endpoint is not what the line's file says it is; nothing is collected from it."""


class SourceAway(OutsideWorldAway):
    """The endpoint does not answer now, or the connection broke: wait and try again."""
