"""What the hall gives to all machines: air, mains, cooling water, compressed air."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(slots=True)
class Site:
    """The hall at one moment.

    Attributes:
        ambient_cel: air in the hall.
        mains_share: mains voltage as a share of its nominal value; heaters give its square.
        cooling_water_cel: water that cools the process water.
        air_bar: compressed air, gauge.
    """

    ambient_cel: float = 20.0
    mains_share: float = 1.0
    cooling_water_cel: float = 16.0
    air_bar: float = 6.2
