"""Where the dirt leaves a melt filter: valve, heated block, discharge screw, a bin on a scale."""

from __future__ import annotations

from dataclasses import dataclass

from simulator.machines.melt import Polymer
from simulator.machines.upsets import Upsets

_IDLE_PERCENT = 8.0
_CARRY_PERCENT = 27.0
_PLUG_PERCENT = 82.0
_SHOWN_AT_LIMIT_PERCENT = 100.0
# The wiper cannot take much more off a screen with that much dirt in front of the outlet.
_HEAP_HALF_KG = 0.15
# When the room before the outlet is full, nothing more comes off the screen.
_HEAP_MOST_KG = 4.0
_HEAP_LAST_KG = 0.5
# The screw never draws more of the stream than this, and rests when hardly anything waits.
_MOST_OF_STREAM = 0.6
_EMPTY_KG = 0.005
# Dirt never comes dry: at least so much melt goes with each kilogram of it.
_LEAST_MELT = 0.6


@dataclass(frozen=True, slots=True, kw_only=True)
class DischargeDesign:
    """What the outlet of the dirt is built like.

    Attributes:
        carry_kg: melt that leaves with the dirt of one cleaning.
        leak_share: share of the stream that passes a valve that does not close.
        blocked_effectiveness: share of the load that a cleaning still takes when nothing comes out.
        freezes_k, flows_k: how far above melting the block must be for anything to pass, and for all of it.
        screw_min: speed of the discharge screw.
        meters_kg_s: what it lets out at that speed.
        run_on_s: how long after a cleaning the outlet stays open at most, until it is empty.
        scale_step_kg, scale_delay_s: of the scale.

    The numbers are of this size of machine: common practice, no source.
    """

    carry_kg: float = 0.55
    leak_share: float = 0.03
    blocked_effectiveness: float = 0.35
    freezes_k: float = 15.0
    flows_k: float = 50.0
    screw_min: float = 12.0
    meters_kg_s: float = 0.022
    run_on_s: float = 50.0
    scale_step_kg: float = 0.02
    scale_delay_s: float = 5.0


class Discharge:
    """The outlet with its state.

    Attributes:
        valve_open: whether the outlet is told to be open.
        screw_min, torque_percent: of the discharge screw.
        heap_kg: dirt off the screen that has not come out; ``owed_kg``: melt still to go with it.
        discharged_kg, dirt_discharged_kg: all that came out, and the dirt in it (hidden truth).
    """

    __slots__ = (
        "_held_for_dt_s",
        "_late",
        "_place",
        "_run_on_s",
        "design",
        "dirt_discharged_kg",
        "discharged_kg",
        "heap_kg",
        "owed_kg",
        "screw_min",
        "torque_percent",
        "valve_open",
    )

    def __init__(self, design: DischargeDesign) -> None:
        self.design = design
        self.valve_open = False
        self.screw_min = self.torque_percent = 0.0
        self.heap_kg = self.owed_kg = 0.0
        self.discharged_kg = self.dirt_discharged_kg = 0.0
        self._run_on_s = 0.0
        self._held_for_dt_s = 0.0
        self._late = [0.0]
        self._place = 0

    @property
    def scale_kg(self) -> float:
        """What the scale shows: late, in whole steps."""
        step_kg = self.design.scale_step_kg
        late_kg = self._late[(self._place + 1) % len(self._late)]
        return round(int(late_kg / step_kg + 1e-9) * step_kg, 6)

    def open_share(self, upsets: Upsets, polymer: Polymer, block_cel: float) -> float:
        """How free the outlet is: 0 blocked or frozen."""
        design = self.design
        above_k = block_cel - polymer.melting_cel
        thawed = (above_k - design.freezes_k) / (design.flows_k - design.freezes_k)
        return (1.0 - upsets.discharge_block) * min(1.0, max(0.0, thawed))

    def hinders(self, open_share: float) -> float:
        """How much what stands before the outlet keeps the wiper from its work, 0–1."""
        return (1.0 - open_share) * self.heap_kg / (self.heap_kg + _HEAP_HALF_KG)

    @property
    def room_share(self) -> float:
        """How much of what the wiper could take finds room before the outlet, 0–1."""
        return max(0.0, min(1.0, (_HEAP_MOST_KG - self.heap_kg) / _HEAP_LAST_KG))

    def step(
        self,
        dt_s: float,
        upsets: Upsets,
        polymer: Polymer,
        block_cel: float,
        stream_kg: float,
        dirt_share: float,
        wiping: bool,
        loosened_kg: float,
        carried_share: float,
    ) -> tuple[float, float]:
        """Go on by one step.

        Args:
            dt_s: length of the step.
            upsets: what is wrong.
            polymer: the melt.
            block_cel: the heated block.
            stream_kg: melt that came to the filter in this step.
            dirt_share: dirt in it.
            wiping: whether a cleaning runs.
            loosened_kg: dirt that the wiper took off the screen.
            carried_share: part of one cleaning's melt that the wiper pushed out.

        Returns:
            melt from the stream and dirt off the screen that left through the outlet, kg.
        """
        free = self.open_share(upsets, polymer, block_cel)
        self._command(dt_s, wiping)
        self.heap_kg += loosened_kg
        self.owed_kg += self.design.carry_kg * carried_share
        if not self.valve_open:
            melt_kg = free * self.design.leak_share * upsets.discharge_leak * stream_kg
            dirt_kg = 0.0
        else:
            drawn_kg = min(self.design.meters_kg_s * dt_s, _MOST_OF_STREAM * stream_kg) * free
            melt_kg, dirt_kg = self._draw(drawn_kg)
        left_kg = dirt_kg + melt_kg
        self._book(left_kg, dirt_kg + melt_kg * dirt_share)
        self._drive(dt_s, free, left_kg, polymer, block_cel)
        self._weigh(dt_s)
        return melt_kg, dirt_kg

    def _command(self, dt_s: float, wiping: bool) -> None:
        """The outlet opens with a cleaning and closes when it is empty, or after its time."""
        if wiping:
            self.valve_open = True
            self._run_on_s = self.design.run_on_s
        elif self.valve_open:
            self._run_on_s -= dt_s
            if self._run_on_s <= 0.0 or self.heap_kg + max(0.0, self.owed_kg) < _EMPTY_KG:
                self.valve_open = False
                self.owed_kg = 0.0

    def _draw(self, most_kg: float) -> tuple[float, float]:
        """What the screw lets out of what waits: melt and dirt, kg."""
        melt_kg = max(self.owed_kg, _LEAST_MELT * self.heap_kg)
        waits_kg = self.heap_kg + melt_kg
        if waits_kg <= 0.0:
            return 0.0, 0.0
        share = min(1.0, most_kg / waits_kg)
        dirt_kg = share * self.heap_kg
        self.heap_kg -= dirt_kg
        self.owed_kg -= share * melt_kg
        return share * melt_kg, dirt_kg

    def clear(self, melt_kg: float) -> float:
        """A person clears the outlet: what stands before it falls into the bin with some melt.

        Returns:
            all that came out, kg.
        """
        left_kg = self.heap_kg + melt_kg
        self._book(left_kg, self.heap_kg)
        self.heap_kg = 0.0
        return left_kg

    def _book(self, left_kg: float, dirt_kg: float) -> None:
        self.discharged_kg += left_kg
        self.dirt_discharged_kg += dirt_kg

    def _drive(self, dt_s: float, free: float, left_kg: float, polymer: Polymer, block_cel: float) -> None:
        design = self.design
        if not self.valve_open:
            self.screw_min = self.torque_percent = 0.0
            return
        load = left_kg / (dt_s * design.meters_kg_s)
        stiff = polymer.temperature_factor(max(block_cel, polymer.melting_cel))
        torque = _IDLE_PERCENT + _CARRY_PERCENT * load * stiff + _PLUG_PERCENT * (1.0 - free)
        self.torque_percent = min(_SHOWN_AT_LIMIT_PERCENT, torque)
        # Near its limit the drive gives way.
        self.screw_min = design.screw_min * (1.0 if torque < 95.0 else 0.2)

    def _weigh(self, dt_s: float) -> None:
        if dt_s != self._held_for_dt_s:
            self._held_for_dt_s = dt_s
            shown_kg = self._late[(self._place + 1) % len(self._late)]
            self._late = [shown_kg] * (round(self.design.scale_delay_s / dt_s) + 1)
            self._place = 0
        self._place = (self._place + 1) % len(self._late)
        self._late[self._place] = self.discharged_kg
