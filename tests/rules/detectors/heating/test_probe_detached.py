"""A thermocouple that slipped is found while it sags, and by what it and its neighbours need afterwards."""

from __future__ import annotations

import numpy as np
import pytest

from historian.frame import Series
from rules.detectors.heating.probe_detached import ProbeDetached
from rules.finding import Blind, Priority
from tests.rules.detectors.heating.days import probe_slipped
from tests.rules.detectors.heating.made import Switched, judged, running
from tests.rules.detectors.plants import FACTS, Plates
from tests.rules.detectors.signals import Staged, every, played, seconds_of, states

LONG_S = 3600


def test_a_reading_that_sags_at_full_current_is_said_within_minutes():
    (found,) = judged(ProbeDetached, probe_slipped())
    assert (found.subject, found.priority) == ("filter.plate.3", Priority.LOW)
    assert 1300 <= seconds_of(found.time_ns) <= 1500  # onset 1200
    assert "though its heater draws its full current" in found.sentence
    assert "something cools it" in found.sentence
    assert "filter.plate.2.out" in found.evidence.tags


def shifted(
    own: float, neighbours: float, others: float = 0.0, with_current: bool = True
) -> dict[str, Series]:
    """Plate 3 comes to need more at its set-point, its neighbours less, slowly: nothing sags."""
    plates = Switched(LONG_S, with_current=with_current)
    plates.out += np.interp(plates.time_s, [1500, 2400], [0, others])[None, :]
    plates.out[2] += np.interp(plates.time_s, [1500, 2400], [0, own])
    for beside in (1, 3):
        plates.out[beside] += np.interp(plates.time_s, [1500, 2400], [0, neighbours])
    return {**plates.made(), **running(LONG_S)}


@pytest.mark.parametrize("with_current", [True, False])
def test_more_for_itself_and_less_for_its_neighbours_is_a_probe_that_reads_low(with_current: bool):
    # The dossier of this trade, B6: own output +24 points, neighbours -7, within half an hour.
    (found,) = judged(ProbeDetached, shifted(24, -7, with_current=with_current))
    assert found.subject == "filter.plate.3"
    assert seconds_of(found.time_ns) <= 1500 + 1800
    assert "its neighbours" in found.sentence and "it warms them" in found.sentence


def test_more_for_itself_alone_is_a_weak_heater_or_lost_heat():
    assert judged(ProbeDetached, shifted(16, 0)) == []


def test_more_for_all_is_a_colder_melt():
    assert judged(ProbeDetached, shifted(0, 0, others=15)) == []


def test_a_dip_of_all_at_melt_on_is_no_probe():
    plates = Switched(2400)
    dip = np.interp(plates.time_s, [1000, 1150, 1500, 2200], [0, 6, 6, 0])
    plates.temp -= dip
    plates.out = np.where(dip > 0, 95.0, plates.out)
    assert judged(ProbeDetached, {**plates.made(), **running(2400, from_s=1000)}) == []


def test_it_ends_when_the_zone_needs_what_it_did():
    plates = Switched(LONG_S)
    sag = np.interp(plates.time_s, [1200, 1500, 1700, 2100], [0, 7, 7, 0])
    plates.temp[2] -= sag
    plates.out[2] += np.interp(plates.time_s, [1200, 1350, 1800, 2100, 2400, 2410], [0, 60, 60, 22, 22, 0])
    found = judged(ProbeDetached, {**plates.made(), **running(LONG_S)})
    assert states(found) == [("filter.plate.3", True), ("filter.plate.3", False)]
    assert seconds_of(found[1].time_ns) >= 2410 + 600


def test_while_melt_stands_it_is_blind():
    plates = Plates(900)
    signals = {**plates.made(), **running(900, from_s=700)}
    said = played(Staged.of(ProbeDetached, FACTS, signals), every(signals, 60))
    assert "melt stands" in {b.why for b in said if isinstance(b, Blind)}
