"""What has crossed the boundary of a machine: mass and energy, so that a balance can be drawn."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(slots=True)
class Account:
    """Mass and energy that went in and out of a machine; what it holds, the machine says itself.

    Enthalpies count from 0 Cel: of solid polymer for all that is plastic, of liquid water for water.

    Attributes:
        in_kg, out_kg: polymer, dirt and the water in it.
        in_kj, out_kj: electric energy, enthalpy of streams, heat to the hall and to cooling water.
    """

    in_kg: float = 0.0
    out_kg: float = 0.0
    in_kj: float = 0.0
    out_kj: float = 0.0

    def took(self, mass_kg: float, energy_kj: float) -> None:
        """Something came in."""
        self.in_kg += mass_kg
        self.in_kj += energy_kj

    def gave(self, mass_kg: float, energy_kj: float) -> None:
        """Something went out."""
        self.out_kg += mass_kg
        self.out_kj += energy_kj
