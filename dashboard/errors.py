"""What can go wrong on a page, as a tree.

MeltledgerError
└── WrongInput
    ├── ActRefused      a person asked for something that is not done; the message tells them why
    └── UnknownLine     a page was asked for a line that is not served here
"""

from __future__ import annotations

from historian.errors import WrongInput


class ActRefused(WrongInput):
    """A person asked for something that is not done; the message tells them why."""


class UnknownLine(WrongInput):
    """A page was asked for a line that is not served here."""
