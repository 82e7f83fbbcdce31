"""From a scenario's seconds to times."""

from __future__ import annotations

from typing import Final, overload

_NS_A_MS: Final = 1_000_000


@overload
def at_ns(t0_ns: int, second: float) -> int: ...
@overload
def at_ns(t0_ns: int, second: float | None) -> int | None: ...
def at_ns(t0_ns: int, second: float | None) -> int | None:
    """The time of a second of the scenario, to the millisecond, UTC nanoseconds; none of none.

    Example:
        >>> at_ns(5_000_000_000, 1.5)
        6500000000
    """
    return None if second is None else t0_ns + round(second * 1000) * _NS_A_MS
