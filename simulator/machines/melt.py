"""What the simulated melt is: a power-law fluid with an Arrhenius shift, and how much heat is in it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import exp

GAS_CONSTANT_KJ_MOL_K = 8.314462618e-3
ZERO_CEL_K = 273.15
# 1 bar is 0.1 kJ per litre, hence 100 kJ per cubic metre.
KJ_PER_BAR_M3 = 100.0


@dataclass(frozen=True, slots=True)
class Polymer:
    """One polymer melt.

    Enthalpies count from solid polymer of 0 Cel. Solid polymer lies on a line through that point, melt on a
    line of its own; what lies between them at ``melting_cel`` melts.

    Attributes:
        name: for a person.
        consistency_pa_s_n: K of the power law at the reference temperature, Pa·s^n.
        exponent: n of the power law.
        activation_kj_mol: Ea of the Arrhenius shift.
        reference_cel: temperature at which K holds.
        density_kg_m3, heat_kj_kg_k: of the melt.
        melting_kj_kg: where the melt's line cuts 0 Cel: the heat of fusion, less what the melt's higher heat
            capacity would have given below the melting point; negative for an amorphous polymer.
        drive_kwh_kg: specific work of the screw at the reference state.
        solid_heat_kj_kg_k: of the solid, mean between 0 Cel and melting.
        melting_cel: end of melting, or where an amorphous polymer begins to flow.

    The values in ``POLYMERS`` are typical ones: common practice, no source.
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
    solid_heat_kj_kg_k: float = 2.3
    melting_cel: float = 110.0

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

    def enthalpy_kj_kg(self, cel: float) -> float:
        """Heat in melt of that temperature, also of melt that is colder than it would stay melt."""
        return self.heat_kj_kg_k * cel + self.melting_kj_kg

    def solid_enthalpy_kj_kg(self, cel: float) -> float:
        """Heat in solid polymer of that temperature."""
        return self.solid_heat_kj_kg_k * cel

    def cel_of_enthalpy(self, kj_kg: float) -> float:
        """Temperature of melt with that heat in it: the inverse of ``enthalpy_kj_kg``."""
        return (kj_kg - self.melting_kj_kg) / self.heat_kj_kg_k

    def cel_on_the_way(self, kj_kg: float) -> float:
        """Temperature of polymer that may be solid, melting or melt."""
        solid_kj_kg = self.solid_heat_kj_kg_k * self.melting_cel
        if kj_kg <= solid_kj_kg:
            return kj_kg / self.solid_heat_kj_kg_k
        cel = (kj_kg - self.melting_kj_kg) / self.heat_kj_kg_k
        return cel if cel > self.melting_cel else self.melting_cel

    def enthalpy_on_the_way(self, cel: float) -> float:
        """Heat in polymer that is solid below its melting point and melt above it."""
        return self.solid_enthalpy_kj_kg(cel) if cel < self.melting_cel else self.enthalpy_kj_kg(cel)

    def molten_share(self, kj_kg: float) -> float:
        """How much of polymer with that heat in it has melted, 0–1."""
        solid_kj_kg = self.solid_heat_kj_kg_k * self.melting_cel
        melt_kj_kg = self.heat_kj_kg_k * self.melting_cel + self.melting_kj_kg
        if kj_kg >= melt_kj_kg:
            return 1.0
        if kj_kg <= solid_kj_kg:
            return 0.0
        return (kj_kg - solid_kj_kg) / (melt_kj_kg - solid_kj_kg)

    def flow_work_kj_kg(self, pressure_bar: float) -> float:
        """What melt under pressure carries beyond its enthalpy at no pressure: p/ρ."""
        return KJ_PER_BAR_M3 * pressure_bar / self.density_kg_m3


def mixture_factor(share: float, factor: float) -> float:
    """How much stiffer a melt is with a share of another in it that is ``factor`` times as stiff.

    Source: logarithmic mixing rule, ln η = Σ w·ln η of the parts (Arrhenius).
    """
    mixed: float = factor**share
    return mixed


# name, K, n, Ea, T0, density, heat, where the line cuts, work, heat of the solid, melting point
POLYMERS: Mapping[str, Polymer] = {
    "LDPE": Polymer("LDPE", 8000.0, 0.42, 45.0, 220.0, 740.0, 2.5, 100.0, 0.184, 2.3, 110.0),
    "HDPE": Polymer("HDPE", 16000.0, 0.50, 28.0, 210.0, 755.0, 2.55, 200.0, 0.205, 2.4, 131.0),
    "PP": Polymer("PP", 9000.0, 0.36, 38.0, 235.0, 850.0, 2.15, 85.0, 0.171, 1.8, 163.0),
    "PS": Polymer("PS", 14000.0, 0.30, 95.0, 220.0, 965.0, 2.05, -70.0, 0.118, 1.35, 100.0),
    "PA6": Polymer("PA6", 900.0, 0.70, 60.0, 250.0, 970.0, 2.7, -105.0, 0.160, 1.7, 221.0),
}
