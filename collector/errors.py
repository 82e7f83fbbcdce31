"""What can go wrong between a machine and the store.

MeltledgerError
├── WrongInput
│   ├── WrongNode             a node is written in a way that cannot be read, or names an unknown namespace
│   ├── UnsupportedSecurity   a security setting that cannot be read
│   └── SourceRefused         the endpoint is not what the line's file says it is, or does not let us in
│       └── CertificateRefused    a certificate is not accepted, ours or the server's
└── OutsideWorldAway
    ├── SourceAway            the endpoint does not answer, or the connection broke
    └── HistoryAway           the endpoint does not give its history now; what it sends live goes on
"""

from __future__ import annotations

from historian.errors import OutsideWorldAway, WrongInput


class WrongNode(WrongInput):
    """A node is written in a way that cannot be read, or names a namespace that the server does not have."""


class UnsupportedSecurity(WrongInput):
    """A security setting that cannot be read."""


class SourceRefused(WrongInput):
    """The endpoint is not what the line's file says it is, or does not let us in; nothing is collected."""


class CertificateRefused(SourceRefused):
    """A certificate is not accepted, ours or the server's.

    Attributes:
        stamp: of the folder of certificates before it was looked at; it changes when somebody changes that.
    """

    def __init__(self, text: str, stamp: tuple[int, ...]) -> None:
        super().__init__(text)
        self.stamp = stamp


class SourceAway(OutsideWorldAway):
    """The endpoint does not answer now, or the connection broke: wait and try again."""


class HistoryAway(OutsideWorldAway):
    """The endpoint does not give its history now, or not in this way; what it sends live goes on.

    Attributes:
        too_much: whether less at once may work.
    """

    def __init__(self, text: str, *, too_much: bool = False) -> None:
        super().__init__(text)
        self.too_much = too_much
