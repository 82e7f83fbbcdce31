"""What goes wrong with heaters and their thermocouples, zone by zone, and with what feeds them all.

Names begin with the kind of zone: ``plate_open``, ``barrel_open``, ``die_open``, ``discharge_open``,
``pump_open``. Two faults of one heater multiply what is left of it; of two faults of one thermocouple the
one counts that hides the other: a broken wire before a shorted one, before a swapped one, before one that
holds its value, before one that has slipped.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from zlib import crc32

from simulator.faults.kind import Act, FaultKind, Moment
from simulator.machines.upsets import ProbeState, Upsets

# At the worst, a loose contact breaks once in this time, for up to so many seconds.
_LOOSE_EVERY_S = 40.0
_LOOSE_LONGEST_S = 4
# Supply: what is missing of the voltage at the worst; common practice, no source.
_UNDERVOLTAGE = 0.15
_PHASES = 3
# Zones are written up to here; a line that has fewer does not look at the rest.
_MOST_ZONES = 12

_HIDES: Mapping[ProbeState, int] = {
    ProbeState.SOUND: 0,
    ProbeState.DETACHED: 1,
    ProbeState.FROZEN: 2,
    ProbeState.REVERSED: 3,
    ProbeState.BREAK_DOWN: 4,
    ProbeState.BREAK_UP: 5,
}


@dataclass(frozen=True, slots=True)
class _ZoneKind:
    """One kind of zone: first word of its faults' names, front part of its tags, its name for a person."""

    word: str
    numbered: str
    prefix: str
    text: str

    def zone(self, moment: Moment) -> str:
        return self.prefix.format(place=moment.order.place)


@dataclass(frozen=True, slots=True)
class _ZoneFault:
    """What may befall every kind of zone.

    Attributes:
        word: of its name, after the zone's.
        number, text, severity, within_s: as of the fault; the text follows the zone's.
        ends: of the tags that show it, after the zone's prefix.
        act_on: what it does to zones of a kind.
    """

    word: str
    number: str
    text: str
    ends: tuple[str, ...]
    act_on: Callable[[_ZoneKind], Act]
    severity: int
    within_s: float


_HEATER = ("temp.pv", "out", "i")
_PROBE = ("temp.pv", "out")
_ZONES = (
    _ZoneKind("plate", "filter.plate", "filter.plate.{place}", "a heater plate of the filter"),
    _ZoneKind("barrel", "extruder.zone", "extruder.zone.{place}", "a barrel zone"),
    _ZoneKind("die", "die.zone", "die.zone.{place}", "a zone of the die ring"),
    _ZoneKind("discharge", "", "filter.discharge", "the discharge block"),
    _ZoneKind("pump", "pump.zone", "pump.zone.{place}", "a zone of the melt pump"),
)


def kinds() -> dict[str, FaultKind]:
    """Faults of heaters, thermocouples and their supply."""
    found: dict[str, FaultKind] = {}
    for zone in _ZONES:
        found |= {f"{zone.word}_{name}": kind for name, kind in _of(zone)}
    found["plate_taken_out"] = _TAKEN_OUT
    found["phase_loss"] = _PHASE_LOSS
    found["undervoltage"] = _UNDERVOLTAGE_KIND
    return found


def _of(zone: _ZoneKind) -> Iterator[tuple[str, FaultKind]]:
    for fault in _OF_A_ZONE:
        yield (
            fault.word,
            FaultKind(
                number=fault.number,
                text=f"{zone.text}{fault.text}",
                tags=tuple(f"{zone.prefix}.{end}" for end in fault.ends),
                act=fault.act_on(zone),
                severity=fault.severity,
                must_detect_within_s=fault.within_s,
                numbered=zone.numbered,
            ),
        )


def _without(zone: _ZoneKind, lost_share: float) -> Act:
    def act(upsets: Upsets, moment: Moment) -> None:
        upsets.zone(zone.zone(moment)).power *= 1.0 - lost_share * moment.level

    return act


def _weld(zone: _ZoneKind) -> Act:
    def act(upsets: Upsets, moment: Moment) -> None:
        upset = upsets.zone(zone.zone(moment))
        upset.welded = max(upset.welded, moment.level)

    return act


def _probe(zone: _ZoneKind, state: ProbeState) -> Act:
    def act(upsets: Upsets, moment: Moment) -> None:
        upset = upsets.zone(zone.zone(moment))
        if _HIDES[state] > _HIDES[upset.probe]:
            upset.probe = state

    return act


def _detach(zone: _ZoneKind) -> Act:
    slipped = _probe(zone, ProbeState.DETACHED)

    def act(upsets: Upsets, moment: Moment) -> None:
        slipped(upsets, moment)
        upset = upsets.zone(zone.zone(moment))
        upset.probe_level = max(upset.probe_level, moment.level)

    return act


def _freeze(zone: _ZoneKind) -> Act:
    held = _probe(zone, ProbeState.FROZEN)

    def act(upsets: Upsets, moment: Moment) -> None:
        held(upsets, moment)
        # The input card holds the noise as well.
        upsets.sensor(f"{zone.zone(moment)}.temp.pv").frozen = True

    return act


def _flicker(zone: _ZoneKind) -> Act:
    broken = _probe(zone, ProbeState.BREAK_UP)

    def act(upsets: Upsets, moment: Moment) -> None:
        if _is_open(moment.order.id, moment.since_s, moment.level):
            broken(upsets, moment)

    return act


def _is_open(name: str, since_s: float, level: float) -> bool:
    """Whether a loose contact of that name is open; breaks come unevenly, but the same in every run."""
    every_s = _LOOSE_EVERY_S / level
    turn, inside_s = divmod(since_s, every_s)
    drawn = crc32(f"{name}: {int(turn)}".encode())
    lasts_s = 1 + drawn % _LOOSE_LONGEST_S
    begins_s = (drawn >> 8) % max(1, int(every_s) - _LOOSE_LONGEST_S)
    return begins_s <= inside_s < begins_s + lasts_s


def _take_out(upsets: Upsets, moment: Moment) -> None:
    upsets.zone(f"filter.plate.{moment.order.place}").taken_out = True


def _lose_phase(upsets: Upsets, moment: Moment) -> None:
    for numbered in ("extruder.zone", "filter.plate", "die.zone", "pump.zone"):
        for place in range(1, _MOST_ZONES + 1, _PHASES):
            upsets.zone(f"{numbered}.{place}").power *= 1.0 - moment.level


def _sag(upsets: Upsets, moment: Moment) -> None:
    upsets.mains_share *= 1.0 - _UNDERVOLTAGE * moment.level


_OF_A_ZONE = (
    _ZoneFault(
        "open",
        "B1",
        " burns out; severity 1: all of its power is lost",
        _HEATER,
        partial(_without, lost_share=1.0),
        3,
        360.0,
    ),
    _ZoneFault(
        "half",
        "B2",
        " loses elements; severity 1: half of its power is lost",
        _HEATER,
        partial(_without, lost_share=0.5),
        2,
        2700.0,
    ),
    _ZoneFault(
        "third",
        "B2",
        " loses an element; severity 1: a third of its power is lost",
        _HEATER,
        partial(_without, lost_share=1.0 / 3.0),
        2,
        2700.0,
    ),
    _ZoneFault(
        "welded", "B3", ": its relay sticks; severity 1: full power for ever", _HEATER, _weld, 4, 120.0
    ),
    _ZoneFault(
        "probe_break",
        "B4",
        ": the wire of its thermocouple breaks, the reading goes to the top; severity has no meaning",
        _PROBE,
        partial(_probe, state=ProbeState.BREAK_UP),
        3,
        5.0,
    ),
    # Each break is one to a rule that looks at the jump; that it is loose takes three of them in ten minutes.
    _ZoneFault(
        "probe_loose",
        "B4",
        ": its thermocouple has a loose contact; severity 1: a break of seconds every 40 s",
        ("temp.pv",),
        _flicker,
        3,
        600.0,
    ),
    _ZoneFault(
        "probe_short",
        "B5",
        ": its thermocouple is shorted at the terminal box, reads the hall; severity has no meaning",
        _PROBE,
        partial(_probe, state=ProbeState.BREAK_DOWN),
        4,
        90.0,
    ),
    _ZoneFault(
        "probe_reversed",
        "B5",
        ": the wires of its thermocouple are swapped; severity has no meaning",
        _PROBE,
        partial(_probe, state=ProbeState.REVERSED),
        4,
        90.0,
    ),
    _ZoneFault(
        "probe_detached",
        "B6",
        ": its thermocouple has slipped, reads low and late; severity 1: by 12 %",
        _PROBE,
        _detach,
        2,
        1800.0,
    ),
    _ZoneFault(
        "probe_frozen",
        "B34",
        ": its input holds the last value, for the controller too; severity has no meaning",
        _PROBE,
        _freeze,
        2,
        900.0,
    ),
)
_TAKEN_OUT = FaultKind(
    number="B8",
    text="the operator takes a heater plate out and runs on without it; severity has no meaning",
    tags=("filter.plate.{place}.enabled.state", "filter.plate.{place}.temp.pv", "filter.plate.{place}.out"),
    act=_take_out,
    severity=2,
    must_detect_within_s=10.0,
    numbered="filter.plate",
)
_PHASE_LOSS = FaultKind(
    number="B9",
    text="a phase of the heaters' supply is gone: zones 1, 4, 7 … of each machine; severity 1: no power",
    tags=(
        *(f"filter.plate.{n}.temp.pv" for n in (1, 4, 7)),
        *(f"filter.plate.{n}.i" for n in (1, 4, 7)),
        *(f"extruder.zone.{n}.temp.pv" for n in (1, 4)),
        *(f"extruder.zone.{n}.i" for n in (1, 4)),
        "die.zone.1.temp.pv",
        "die.zone.1.i",
    ),
    act=_lose_phase,
    severity=3,
    must_detect_within_s=300.0,
)
_UNDERVOLTAGE_KIND = FaultKind(
    number="B9",
    text="the heaters' supply sags; severity 1: 15 % of the voltage is missing, and 28 % of the power",
    tags=tuple(f"filter.plate.{n}.{end}" for n in (1, 2, 3) for end in ("i", "out")),
    act=_sag,
    severity=3,
    must_detect_within_s=300.0,
)
