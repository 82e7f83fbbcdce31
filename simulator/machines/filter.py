"""The melt filter: heater plates round a screen, a wiper, an outlet for the dirt, the control of cleaning.

What it holds is constant: melt that comes in pushes out as much through the screen and the outlet together.
The melt in it is one well-mixed volume; what its pressure loses in the screen warms it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from simulator.machines.cleaning import CleaningControl, Trigger
from simulator.machines.discharge import Discharge
from simulator.machines.filter_design import FILM_FILTER, REGRIND_FILTER, FilterDesign
from simulator.machines.filter_heat import FilterHeat
from simulator.machines.melt import Polymer
from simulator.machines.screen import Screen
from simulator.machines.site import Site
from simulator.machines.upsets import Upsets
from simulator.machines.wiper import WiperState

__all__ = ["FILM_FILTER", "REGRIND_FILTER", "FilterDesign", "MeltFilter", "Trigger"]

# 1 bar is 0.1 kJ a litre.
_KJ_L_PER_BAR = 0.1
# Below this there is no stream to speak of.
_LEAST_KG_S = 0.005
_WIPING_DIP = 0.03
_LEAKING_DIP = 0.06
# Of the wiper's torque: what follows the stiffness of the melt; how steeply solid plastic weighs more.
_MELT_PART = 0.6
_SOLID_PER_K = 0.08
_BLOCKED_TORQUE = 0.25
# However it is opened, some melt stays in the channels.
_RUNS_OUT_SHARE = 0.8
# A shaft that slips in its blades still opens the outlet, but pushes little into it.
_SLIP_CARRIES_LESS = 0.7


class MeltFilter(CleaningControl):
    """The filter with its state.

    Attributes:
        design, polymer: what it is built like, and what flows through it.
        plates, block: the heated zones of the housing and of the outlet.
        screen, discharge, hydraulics: its parts.
        account: what crossed its boundary; pressure that the melt loses in the screen counts as work brought.
        wiped_share: what the last cleaning took of the load that it met (hidden truth).
        dirt_passed_kg_s, dirt_passed_kg: dirt that went through the screen (hidden truth).
        dissipated_kw: heat that the pressure lost in the screen becomes.
    """

    def __init__(
        self, design: FilterDesign, polymer: Polymer, *, start_cel: float, loss_factors: Sequence[float] = ()
    ) -> None:
        """Stand full of plastic.

        Args:
            design: what it is built like.
            polymer: what it is full of.
            start_cel: of everything.
            loss_factors: of the plates and then the block; empty: all as designed.
        """
        super().__init__(design)
        self.design = design
        self.polymer = polymer
        self.screen = Screen(design.screen, polymer.exponent, "screen-1")
        self.discharge = Discharge(design.discharge)
        self._heat = FilterHeat(design, polymer, start_cel, loss_factors)
        self.plates = self._heat.plates
        self.block = self._heat.block
        self.hydraulics = self._heat.hydraulics
        self.account = self._heat.account
        self.wiped_share = 0.0
        self.dirt_passed_kg_s = self.dirt_passed_kg = 0.0
        self.dissipated_kw = 0.0
        self.viscosity_factor = 1.0
        self._tear = self._leak = 0.0
        self._in_cel = start_cel
        self._load_at_start_kg = 0.0
        self._cake_bar = 0.0

    # ---- what it shows ------------------------------------------------------------------------------------

    @property
    def held_kg(self) -> float:
        """Melt and dirt in it."""
        return self._heat.melt_kg

    @property
    def held_kj(self) -> float:
        """Heat of melt, steel and oil in it, against 0 Cel."""
        return self._heat.held_kj

    @property
    def out_cel(self) -> float:
        """Melt that leaves."""
        return self._heat.melt_cel

    @property
    def screen_cel(self) -> float:
        """Melt in the screen."""
        return 0.5 * (self._in_cel + self._heat.melt_cel)

    @property
    def wiping_dip_share(self) -> float:
        """By how much the outlet pressure dips, as a share of the pressure difference."""
        if self.wiper.state is WiperState.WIPING:
            return _WIPING_DIP
        return _LEAKING_DIP * self._leak

    @property
    def state(self) -> WiperState:
        """What the wiper does."""
        return self.wiper.state

    @property
    def angle_deg(self) -> float:
        """Where the wiper stands, 0 ≤ angle < 360."""
        return self.wiper.angle_deg

    @property
    def at_park(self) -> bool:
        """What the wiper's park sensor shows."""
        return self.wiper.at_park

    @property
    def speed_min(self) -> float:
        """Wiper speed, turns a minute."""
        return self.wiper.speed_min

    @property
    def torque_percent(self) -> float:
        """Torque of the wiper's drive."""
        return self.wiper.torque_percent

    @property
    def revs(self) -> float:
        """Turns of the wiper since the screen change."""
        return self.wiper.revs

    @property
    def oil_bar(self) -> float:
        """Oil in the accumulator."""
        return self.hydraulics.oil_bar

    @property
    def oil_cel(self) -> float:
        """Oil in the tank."""
        return self.hydraulics.oil_cel

    @property
    def contact_bar(self) -> float:
        """Oil on the blades."""
        return self.hydraulics.contact_bar

    @property
    def discharge_screw_min(self) -> float:
        """Speed of the discharge screw."""
        return self.discharge.screw_min

    @property
    def discharge_torque_percent(self) -> float:
        """Torque of the discharge screw."""
        return self.discharge.torque_percent

    @property
    def scale_kg(self) -> float:
        """What the discharge scale shows."""
        return self.discharge.scale_kg

    @property
    def discharged_kg(self) -> float:
        """All that left through the outlet since the start (hidden truth)."""
        return self.discharge.discharged_kg

    @property
    def dirt_discharged_kg(self) -> float:
        """Dirt in that (hidden truth)."""
        return self.discharge.dirt_discharged_kg

    @property
    def dirt_held_kg(self) -> float:
        """Dirt on the screen, in its holes and before the outlet (hidden truth)."""
        return self.screen.dirt_kg + self.discharge.heap_kg

    def difference_bar(self, kg_s: float, cel: float) -> float:
        """Pressure difference over the screen as it is now, in a steady flow."""
        return self.screen.difference_bar(self.polymer, kg_s, cel, self.viscosity_factor, self._tear)

    # ---- what people do -----------------------------------------------------------------------------------

    def change_screen(
        self,
        serial: str,
        *,
        fineness_um: float | None = None,
        area_m2: float | None = None,
        melt_lost_kg: float = 1.5,
    ) -> None:
        """Put in a clean screen, of the same kind unless said; dirt and some melt go with the old."""
        kind = self.screen.design
        kind = replace(kind, fineness_um=fineness_um or kind.fineness_um, area_m2=area_m2 or kind.area_m2)
        dirt_kg = self.screen.change(kind, self.polymer.exponent, serial)
        self._heat.run_out(min(dirt_kg + melt_lost_kg, _RUNS_OUT_SHARE * self.held_kg))
        self.wipes = 0
        self.wiper.revs = 0.0

    def clear_discharge(self, melt_kg: float = 1.0) -> None:
        """A person clears the outlet: the heap and some melt, if there is as much, fall on the scale."""
        most_kg = _RUNS_OUT_SHARE * self.held_kg - self.discharge.heap_kg
        self._heat.run_out(self.discharge.clear(max(0.0, min(melt_kg, most_kg))))

    # ---- time ---------------------------------------------------------------------------------------------

    def step(
        self,
        dt_s: float,
        site: Site,
        upsets: Upsets,
        in_kg_s: float,
        in_cel: float,
        dirt_share: float,
        viscosity_factor: float,
        inlet_sensed_bar: float,
        dp_sensed_bar: float,
    ) -> float:
        """Go on by one step.

        Args:
            dt_s: length of the step.
            site: the hall.
            upsets: what is wrong.
            in_kg_s, in_cel: melt that comes in.
            dirt_share: dirt in it that can be filtered.
            viscosity_factor: how much stiffer than its kind it is.
            inlet_sensed_bar, dp_sensed_bar: what the control of cleaning sees; NaN: nothing.

        Returns:
            melt that leaves through the screen, kg/s.
        """
        self._tear = upsets.screen_tear
        self._leak = upsets.discharge_leak
        self.viscosity_factor = viscosity_factor
        self._in_cel = in_cel
        running = in_kg_s > _LEAST_KG_S
        if self._listen(dt_s, upsets, running, inlet_sensed_bar, dp_sensed_bar):
            self._load_at_start_kg = self.screen.load_kg
        block_cel = self.block.true_cel
        free = self.discharge.open_share(upsets, self.polymer, block_cel)
        wiping, loosened_kg, carried_share = self._wipe(dt_s, upsets, free)
        in_kg = in_kg_s * dt_s
        pressed_kg = in_kg if running else 0.0
        melt_kg, dirt_kg = self.discharge.step(
            dt_s, upsets, self.polymer, block_cel, pressed_kg, dirt_share, wiping, loosened_kg, carried_share
        )
        # Melt follows into the place of the dirt that went out; what dirt it brings meets the screen, too.
        self._strain(dt_s, dirt_share * (in_kg - melt_kg))
        through_kg = in_kg - melt_kg - dirt_kg
        out_kg = self._heat.refill(through_kg)
        self._heat.step(
            dt_s,
            site,
            upsets,
            self.polymer,
            running,
            self.wiper.state is WiperState.WIPING,
            in_kg,
            in_cel,
            out_kg + melt_kg + dirt_kg,
            self._dissipated_kj(dt_s, through_kg),
            self.wiper.power_kw * dt_s,
        )
        return out_kg / dt_s

    def _wipe(self, dt_s: float, upsets: Upsets, free: float) -> tuple[bool, float, float]:
        """Turn the wiper: whether it cleans, dirt off the screen in kg, which part of its melt goes."""
        wiper = self.wiper
        was = wiper.state if wiper.moving else WiperState.PARKED
        turned = wiper.step(dt_s, upsets, self._wiper_load(free) if wiper.moving else 0.0)
        loosened_kg = 0.0
        carried_share = 0.0
        if turned > 0.0:
            part = turned / wiper.design.revs
            both, stays = wiper.takes(upsets, self.hydraulics.contact_share)
            blocked = self.design.discharge.blocked_effectiveness
            both += (min(both, blocked) - both) * self.discharge.hinders(free)
            both *= self.discharge.room_share
            loosened_kg = self.screen.loosen(1.0 - (1.0 - both) ** part, stays)
            if was is WiperState.WIPING:
                carried_share = part * (1.0 - _SLIP_CARRIES_LESS * upsets.wiper_slip)
                self._count(turned)
        if was is not WiperState.PARKED and not wiper.moving:
            self._ended(was, upsets)
            start_kg = self._load_at_start_kg
            self.wiped_share = 1.0 - self.screen.load_kg / start_kg if start_kg > 0.0 else 0.0
        return was is WiperState.WIPING, loosened_kg, carried_share

    def _dissipated_kj(self, dt_s: float, through_kg: float) -> float:
        """What the pressure lost in the screen warms the melt in this step."""
        difference_bar = self.difference_bar(through_kg / dt_s, self.screen_cel)
        self._cake_bar = difference_bar * self.screen.cake_1_m / self.screen.resistance_1_m(0.0)
        volume_l = through_kg / self.polymer.density_kg_m3 * 1.0e3
        dissipated_kj = _KJ_L_PER_BAR * volume_l * difference_bar
        self.dissipated_kw = dissipated_kj / dt_s
        return dissipated_kj

    def _wiper_load(self, free: float) -> float:
        """Torque that the wiper needs where it stands: bearings, blades, cake, and cold steel near it."""
        design = self.design
        plates = self.plates
        count = design.plates
        # Plate 1 is centred half a sector after park.
        place = self.wiper.angle_deg / 360.0 * count - 0.5
        low = int(place // 1.0)
        part = place - low
        near_cel = plates[low % count].true_cel * (1.0 - part) + plates[(low + 1) % count].true_cel * part
        polymer = self.polymer
        stiff = polymer.temperature_factor(near_cel) / polymer.temperature_factor(design.plate_cel)
        solid_k = polymer.melting_cel - near_cel
        if solid_k > 0.0:
            stiff += _SOLID_PER_K * solid_k
        wiper = design.wiper
        base = wiper.friction_percent + wiper.contact_percent * self.hydraulics.contact_share
        base *= 1.0 - _MELT_PART + _MELT_PART * stiff * self.viscosity_factor
        base += wiper.cake_percent * self._cake_bar / wiper.cake_reference_bar
        return base * (1.0 + _BLOCKED_TORQUE * (1.0 - free))

    def _strain(self, dt_s: float, dirt_kg: float) -> None:
        """Dirt settles on the screen or passes."""
        caught_kg = dirt_kg * self.screen.retention(self._tear)
        self.screen.catch(caught_kg)
        passed_kg = dirt_kg - caught_kg
        self.dirt_passed_kg_s = passed_kg / dt_s
        self.dirt_passed_kg += passed_kg
