"""From what a store and the register of sensors give to what figures are made of."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from historian.frame import Series
from historian.quality import is_bad
from historian.sensors.uncertainty import Uncertainty
from trials.figures.trace import Calibration, Trace

_REFERENCE = "reference"


def traces_of(
    series_by_path: Mapping[str, Series], calibrations: Mapping[str, Calibration] | None = None
) -> dict[str, Trace]:
    """The traces of some tags: bad samples are not known, uncertain ones are as they are.

    Args:
        calibrations: path → what is known of its sensor; tags that are not named have none.
    """
    known = calibrations or {}
    return {
        path: Trace.of(path, s.time_ns, np.where(is_bad(s.quality), np.nan, s.value), known.get(path))
        for path, s in series_by_path.items()
    }


def calibration_of(path: str, uncertainty: Uncertainty, certificate: str = "") -> Calibration:
    """What the register says of a sensor, as offsets that hold for a whole trial.

    Args:
        uncertainty: at the value that the tag had.
        certificate: of the reference that it was checked against. Sensors with the same one share that part,
            which then cancels in a difference of theirs; empty: the sensor shares nothing.
    """
    shared = f"reference {certificate}" if certificate else f"{path}, {_REFERENCE}"
    names = {part: shared if part == _REFERENCE else f"{path}, {part}" for part in uncertainty.parts}
    return Calibration({names[part]: standard for part, standard in uncertainty.parts.items()})
