"""The severity of a machine's own alarm in the classes of the plastics and rubber companion.

Source: OPC 40083, 6.4: of 1 to 1000, 1-333 information, 334-666 warning, 667-1000 error.
"""

from __future__ import annotations

from typing import Final

INFORMATION: Final = "information"
WARNING: Final = "warning"
ERROR: Final = "error"
NOT_TOLD: Final = "not told"


def class_of_severity(severity: int) -> str:
    """The class of a severity; what is outside of 1 to 1000 tells nothing.

    Example:
        >>> [class_of_severity(s) for s in (1, 333, 334, 666, 667, 1000, 0)]
        ['information', 'information', 'warning', 'warning', 'error', 'error', 'not told']
    """
    if not 1 <= severity <= 1000:
        return NOT_TOLD
    return INFORMATION if severity <= 333 else WARNING if severity <= 666 else ERROR
