"""A piece of melt pipe: what it costs in pressure, what that warms, how long a change takes to pass it."""

from __future__ import annotations

from dataclasses import dataclass

from simulator.machines.account import Account
from simulator.machines.melt import Polymer


@dataclass(frozen=True, slots=True, kw_only=True)
class PipeDesign:
    """What a pipe is built like; its wall has the temperature of the melt: it neither warms nor cools it.

    Attributes:
        volume_l: melt in it.
        loss_bar: pressure that the reference flow loses.
        reference_kg_h: that flow, of the polymer's own viscosity at its reference temperature.

    common practice, no source.
    """

    volume_l: float
    loss_bar: float
    reference_kg_h: float = 780.0


class MeltPipe:
    """The pipe with its state.

    Attributes:
        out_cel: melt that leaves.
        account: melt, with what its pressure loss turns into heat.
    """

    __slots__ = ("_mass_kg", "account", "design", "out_cel", "polymer")

    def __init__(self, design: PipeDesign, polymer: Polymer, *, start_cel: float) -> None:
        self.design = design
        self.polymer = polymer
        self.out_cel = start_cel
        self.account = Account()
        self._mass_kg = design.volume_l * 1.0e-3 * polymer.density_kg_m3

    @property
    def held_kg(self) -> float:
        """Melt in it."""
        return self._mass_kg

    @property
    def held_kj(self) -> float:
        """Heat of that."""
        return self._mass_kg * self.polymer.enthalpy_kj_kg(self.out_cel)

    def drop_bar(self, kg_s: float, cel: float, viscosity_factor: float, added_bar: float = 0.0) -> float:
        """Pressure that a flow loses; ``added_bar``: what something in the way costs the reference flow.

        Source: power-law melt in a given channel, Δp ∝ K·a_T^n·Q^n.
        """
        if kg_s <= 0.0:
            return 0.0
        design, polymer = self.design, self.polymer
        share = kg_s * 3600.0 / design.reference_kg_h
        stiff: float = polymer.temperature_factor(cel) * viscosity_factor * share**polymer.exponent
        return (design.loss_bar + added_bar) * stiff

    def step(self, dt_s: float, in_kg_s: float, in_cel: float, lost_bar: float) -> None:
        """Go on by one step: as much leaves as comes in, mixed with what was there."""
        polymer = self.polymer
        moved_kg = in_kg_s * dt_s
        if moved_kg <= 0.0:
            return
        work_kj = moved_kg * polymer.flow_work_kj_kg(lost_bar)
        in_kj = moved_kg * polymer.enthalpy_kj_kg(in_cel) + work_kj
        before_kj = self.held_kj
        # Fully mixed, the outflow taken at the new state: stable for any step.
        after_kj = (before_kj + in_kj) * self._mass_kg / (self._mass_kg + moved_kg)
        self.out_cel = polymer.cel_of_enthalpy(after_kj / self._mass_kg)
        self.account.took(moved_kg, in_kj)
        self.account.gave(moved_kg, before_kj + in_kj - after_kj)
