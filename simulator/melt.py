"""What the simulated melt is: a power-law fluid with an Arrhenius shift."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import exp

GAS_CONSTANT_KJ_MOL_K = 8.314462618e-3
ZERO_CEL_K = 273.15


@dataclass(frozen=True, slots=True)
class Polymer:
    """One polymer melt.

    Attributes:
        name: for a person.
        consistency_pa_s_n: K of the power law at the reference temperature, Pa·s^n.
        exponent: n of the power law.
        activation_kj_mol: Ea of the Arrhenius shift.
        reference_cel: temperature at which K holds.
        density_kg_m3, heat_kj_kg_k, melting_kj_kg: of the melt.
        drive_kwh_kg: specific work of the screw at the reference state.

    Source: values of LDPE and PP are typical ones, common practice, no source.
    """

    name: str
    consistency_pa_s_n: float
    exponent: float
    activation_kj_mol: float
    reference_cel: float
    density_kg_m3: float
    heat_kj_kg_k: float
    melting_kj_kg: float
    drive_kwh_kg: float

    def shift(self, temp_cel: float) -> float:
        """How much slower the melt relaxes than at its reference temperature: a_T.

        Source: Arrhenius, a_T = exp[Ea/R·(1/T − 1/T0)], temperatures in kelvin.
        """
        inverse = 1.0 / (temp_cel + ZERO_CEL_K) - 1.0 / (self.reference_cel + ZERO_CEL_K)
        return exp(self.activation_kj_mol / GAS_CONSTANT_KJ_MOL_K * inverse)

    def temperature_factor(self, temp_cel: float) -> float:
        """How much stiffer the melt is at an imposed shear rate: a_T^n.

        Source: time–temperature superposition, η = a_T·η0(a_T·γ); with a power law that is a_T^n·η0(γ).
        """
        inverse = 1.0 / (temp_cel + ZERO_CEL_K) - 1.0 / (self.reference_cel + ZERO_CEL_K)
        return exp(self.exponent * self.activation_kj_mol / GAS_CONSTANT_KJ_MOL_K * inverse)

    def viscosity_pa_s(self, temp_cel: float, shear_rate_s: float) -> float:
        """Viscosity at a temperature and a shear rate in 1/s.

        Source: power law (Ostwald–de Waele), η = K·a_T^n·γ^(n−1).
        """
        bend: float = shear_rate_s ** (self.exponent - 1.0)
        return self.consistency_pa_s_n * self.temperature_factor(temp_cel) * bend


POLYMERS: Mapping[str, Polymer] = {
    "LDPE": Polymer("LDPE", 8000.0, 0.42, 45.0, 220.0, 740.0, 2.5, 100.0, 0.184),
    "PP": Polymer("PP", 9000.0, 0.36, 38.0, 235.0, 850.0, 2.15, 85.0, 0.171),
}
