"""What melt filters are built like: the two sizes of the trial line."""

from __future__ import annotations

from dataclasses import dataclass, field

from simulator.machines.discharge import DischargeDesign
from simulator.machines.hydraulics import HydraulicsDesign
from simulator.machines.screen import ScreenDesign
from simulator.machines.wiper import WiperDesign
from simulator.machines.zone_design import DISCHARGE_BLOCK, FILTER_PLATE, ZoneDesign


@dataclass(frozen=True, slots=True, kw_only=True)
class FilterDesign:
    """What a melt filter is built like and set to.

    Attributes:
        plates: heater plates round the housing.
        plate, block: of one plate, and of the discharge's heated block.
        plate_cel, block_cel: their set-points.
        volume_l: melt in the filter and its pipes.
        start_contact: how much better cold melt takes heat than flowing melt does; it fades from
            ``start_contact_s`` on.
        rest_kw_k: from each plate to melt that stands still.
        screen, wiper, discharge, hydraulics: of its parts.
        trigger_dp_bar, trigger_inlet_bar, longest_s: set-points of the cleaning.
        trigger_held_s: how long a pressure must be above its trigger.
        pause_s: shortest rest of the wiper.

    The numbers are of this size of machine: common practice, no source.
    """

    plates: int = 8
    plate: ZoneDesign = FILTER_PLATE
    block: ZoneDesign = DISCHARGE_BLOCK
    plate_cel: float = 220.0
    block_cel: float = 215.0
    volume_l: float = 7.5
    start_contact: float = 5.5
    start_contact_s: float = 300.0
    rest_kw_k: float = 0.0013
    screen: ScreenDesign = field(default_factory=ScreenDesign)
    wiper: WiperDesign = field(default_factory=WiperDesign)
    discharge: DischargeDesign = field(default_factory=DischargeDesign)
    hydraulics: HydraulicsDesign = field(default_factory=HydraulicsDesign)
    trigger_dp_bar: float = 45.0
    trigger_inlet_bar: float = 125.0
    longest_s: float = 540.0
    trigger_held_s: float = 4.0
    pause_s: float = 8.0


FILM_FILTER = FilterDesign()
REGRIND_FILTER = FilterDesign(
    plates=7,
    plate_cel=235.0,
    block_cel=230.0,
    volume_l=7.0,
    screen=ScreenDesign(area_m2=0.0844, fineness_um=160.0, thickness_mm=0.52, cake_m_kg=1.37e6),
    wiper=WiperDesign(wipe_s=18.0, revs=3.0, cake_reference_bar=19.0),
    discharge=DischargeDesign(carry_kg=0.95, meters_kg_s=0.028),
    trigger_dp_bar=38.0,
    trigger_inlet_bar=105.0,
    longest_s=420.0,
)
