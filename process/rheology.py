"""How a melt's viscosity moves with temperature and shear rate: shift factor and power law only."""

from __future__ import annotations

from math import exp

GAS_CONSTANT_J_MOL_K = 8.314462618
ZERO_CEL_K = 273.15


def shift_factor(temp_cel: float, reference_cel: float, activation_j_mol: float) -> float:
    """a_T: viscosity at constant stress over that at the reference temperature.

    Valid well above the glass transition (about 100 K).

    Example:
        >>> round(shift_factor(210, 190, 45_000), 4)
        0.6165

    Source: Arrhenius form, e.g. J. D. Ferry, Viscoelastic Properties of Polymers (1980), ch. 11.
    """
    warm, cold = temp_cel + ZERO_CEL_K, reference_cel + ZERO_CEL_K
    return exp(activation_j_mol / GAS_CONSTANT_J_MOL_K * (1 / warm - 1 / cold))


def power_law_pa_s(consistency: float, exponent: float, shear_rate_per_s: float, shift: float = 1.0) -> float:
    """Apparent viscosity at an imposed shear rate, Pa.s.

    Args:
        consistency: K at the reference temperature, Pa.s^n.
        exponent: n.
        shift: a_T; at imposed shear rate it counts with the power n (time-temperature superposition).

    Example:
        >>> round(power_law_pa_s(1e4, 0.4, 100), 3)
        630.957

    Source: power law of Ostwald and de Waele, e.g. R. B. Bird et al., Dynamics of Polymeric Liquids, vol. 1.
    """
    return float(consistency * shift**exponent * shear_rate_per_s ** (exponent - 1))
