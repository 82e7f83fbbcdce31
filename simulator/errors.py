"""What can go wrong with the simulator, as part of the tree in ``historian.errors``.

WrongInput
└── WrongScenario    a scenario file cannot be played: mend it and try again
"""

from __future__ import annotations

from historian.errors import WrongInput


class WrongScenario(WrongInput):
    """A scenario file cannot be played: mend it and try again."""
