"""A day for every rule of this part on which it has something to say."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from historian.frame import Series
from rules.line import LineFacts
from tests.rules.detectors.heating.made import Switched, running
from tests.rules.detectors.plants import FACTS, changes

DURATION_S = 1500


def phase_gone() -> dict[str, Series]:
    """Plates 1, 4 and 7 are without current for five minutes."""
    plates = Switched(DURATION_S)
    plates.share[[0, 3, 6], 600:900] = 0.0
    return plates.made()


def probe_broken() -> dict[str, Series]:
    """The probe of plate 5 shows the end of its range for two minutes."""
    plates = Switched(DURATION_S)
    plates.temp[4, 600:720] = 1200.0
    return plates.made()


def probe_shorted() -> dict[str, Series]:
    """The probe of plate 5 shows the hall for two minutes."""
    plates = Switched(DURATION_S)
    plates.temp[4, 600:720] = 28.0
    plates.out[4, 602:720] = 100.0
    return plates.made()


def probes_crossed(low: int = 3, high: int = 6, duration_s: int = DURATION_S) -> dict[str, Series]:
    """Two plates' probes are swapped at 600 s and put right at 1020 s; each controller goes by the other's plate.

    Plates of 5 K/min at full output that lose 1.65 K/min at their set-point: 33 % holds them.
    """
    plates = Switched(duration_s)
    own = np.full(2, 220.0)
    for at in range(600, duration_s):
        swapped = at < 1020
        shown = own[::-1] if swapped else own
        # The one that is swapped a little too warm asks for less: from there they part.
        out = np.clip(33.0 + 40.0 * (220.0 - shown) + np.asarray([0.5, -0.5]) * swapped, 0.0, 100.0)
        own = own + (5.0 * out / 100 - 1.65) / 60
        for n, plate in enumerate((low, high)):
            plates.temp[plate - 1, at] += shown[n] - 220.0
            plates.out[plate - 1, at] = out[n]
    return plates.made()


def relay_stuck() -> dict[str, Series]:
    """Plate 2 is heated without being asked for five minutes."""
    plates = Switched(DURATION_S)
    plates.stuck[1, 600:900] = True
    rise = np.interp(plates.time_s, [600, 900, 1300], [0, 15, 0])
    plates.temp[1] += rise
    plates.out[1] = np.where(rise > 1, 0.0, plates.out[1])
    return plates.made()


def element_lost() -> dict[str, Series]:
    """Plate 6 draws two thirds of its current for ten minutes."""
    plates = Switched(DURATION_S)
    plates.share[5, 500:1100] = 0.67
    return plates.made()


def probe_slipped() -> dict[str, Series]:
    """The reading of plate 3 sags by 7 K at full current, then comes back with far more output."""
    plates = Switched(2600)
    sag = np.interp(plates.time_s, [1200, 1500, 1700, 2100], [0, 7, 7, 0])
    plates.temp[2] -= sag
    plates.out[2] += np.interp(plates.time_s, [1200, 1350, 1800, 2100], [0, 60, 60, 22])
    for beside in (1, 3):
        plates.out[beside] -= np.interp(plates.time_s, [1300, 2100], [0, 6])
    return {**plates.made(), **running(2600)}


def plate_taken_out() -> dict[str, Series]:
    """Plate 3 is taken out of use for ten minutes."""
    plates = Switched(DURATION_S)
    plates.open(3, at_s=600)
    plates.enabled[2, 600:1200] = 0.0
    return {**plates.made(), **running(DURATION_S)}


def started_cold() -> dict[str, Series]:
    """The plates have stood at their set-points for eight minutes when the screw starts."""
    plates = Switched(DURATION_S)
    plates.heat_up(until_cel=190.0)
    return {**plates.made(), **running(DURATION_S, from_s=800)}


def one_side_cold() -> dict[str, Series]:
    """Two plates side by side are colder than the others for ten minutes."""
    plates = Switched(DURATION_S)
    cold = np.interp(plates.time_s, [300, 500, 900, 1100], [0, 11, 11, 0])
    plates.temp[0] -= cold
    plates.temp[1] -= cold
    wiper = changes(plates.time_s, np.zeros(DURATION_S))
    return {**plates.made(), **running(DURATION_S), "filter.wiper.state": wiper}


def _with_facts(
    signals: Callable[[], dict[str, Series]],
) -> Callable[[], tuple[LineFacts, Mapping[str, Series]]]:
    return lambda: (FACTS, signals())


DAYS: Mapping[str, Callable[[], tuple[LineFacts, Mapping[str, Series]]]] = {
    "heater-supply": _with_facts(phase_gone),
    "probe-break": _with_facts(probe_broken),
    "probe-short": _with_facts(probe_shorted),
    "probes-swapped": _with_facts(probes_crossed),
    "heater-stuck-on": _with_facts(relay_stuck),
    "heater-weak": _with_facts(element_lost),
    "probe-detached": _with_facts(probe_slipped),
    "plate-out": _with_facts(plate_taken_out),
    "soak-short": _with_facts(started_cold),
    "plates-uneven": _with_facts(one_side_cold),
}
