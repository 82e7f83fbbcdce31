"""Whether a time server keeps this computer's clock, as the operating system says."""

from __future__ import annotations

import ctypes
from collections.abc import Callable
from typing import Final

_UNSYNCHRONISED: Final = 5
"""TIME_ERROR. Source: adjtimex(2), Linux man-pages: the state of a clock that is not synchronised."""

_ROOM: Final = 512  # more than a struct timex takes; with no mode set the call only reads


def is_synchronised(adjtimex: Callable[[ctypes.Array[ctypes.c_char]], int] | None = None) -> bool:
    """Whether the clock is kept by a time server; False where the system does not tell.

    Args:
        adjtimex: what asks the system; the C library's when left out.
    """
    try:
        ask = adjtimex or ctypes.CDLL(None).adjtimex
        return 0 <= int(ask(ctypes.create_string_buffer(_ROOM))) < _UNSYNCHRONISED
    except (AttributeError, OSError):
        return False
