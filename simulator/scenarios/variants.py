"""Other plants and other days made from one scenario, so that no detector can learn one plant by heart.

Each variant is a plant drawn at random (``variation``) with a seed of its own. A faulty one has the
scenario's faults at another time, of another severity, at another place; a healthy one has none, and the
operator does the same. On a slower plant the controls refuse a start that comes before the soak is over: the
operator there tries again.
"""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Literal

import numpy as np

from historian.errors import WrongInput
from simulator.faults import FAULTS, FaultOrder
from simulator.scenarios.scenario import Label, Scenario, Step
from simulator.scenarios.variation import drawn, generator

Kind = Literal["faulty", "healthy"]
COUNT = 20

_MOST_SHIFT_S = 600.0
_SHIFT_SHARE = 0.3
_SEVERITY = (0.75, 1.3)
_SEED_SPACE = 2**31
# How often, and how long, an operator tries to start a line that is not ready.
_TRY_EVERY_S = 60.0
_TRY_FOR_S = 2400.0


def variants(scenario: Scenario, kind: Kind, count: int = COUNT) -> list[Scenario]:
    """Variants 1 to ``count`` of that kind."""
    return [variant(scenario, kind, number) for number in range(1, count + 1)]


def variant(scenario: Scenario, kind: Kind, number: int) -> Scenario:
    """One variant, the same at every call.

    Args:
        number: from 1.
    """
    if number < 1:
        raise WrongInput(f"variants are numbered from 1, not {number}")
    key = (scenario.seed, scenario.name, kind, number)
    chance = generator("variant", *key)
    changed = replace(
        scenario,
        name=f"{scenario.name}-{kind}-{number}",
        title=f"{scenario.title} ({kind} variant {number})",
        seed=int(chance.integers(_SEED_SPACE)),
        variation=drawn(*key),
        steps=_with_tries(scenario),
    )
    if kind == "healthy":
        injected = {order.id for order in scenario.faults}
        kept = tuple(label for label in scenario.labels if label.id not in injected)
        return replace(changed, faults=(), labels=kept)
    for order in scenario.faults:
        changed = _moved(changed, order, chance)
    return changed


def named_variant(scenario: Scenario, text: str) -> Scenario:
    """The variant that ``faulty:7`` or ``healthy:12`` names.

    Raises:
        WrongInput: it names none.
    """
    found = re.fullmatch(r"(faulty|healthy):([1-9]\d{0,5})", text.strip())
    if found is None:
        raise WrongInput(
            f"'{text}' names no variant: write faulty:N or healthy:N with N from 1, as in faulty:7"
        )
    kind: Kind = "faulty" if found.group(1) == "faulty" else "healthy"
    return variant(scenario, kind, int(found.group(2)))


def _with_tries(scenario: Scenario) -> tuple[Step, ...]:
    """The steps, and the screw switched on again and again until it is switched off; on a screw that turns
    already, that does nothing."""
    steps = list(scenario.steps)
    switches = [s.at_s for s in scenario.steps if s.do in ("screw on", "screw off")]
    for start in [s for s in scenario.steps if s.do == "screw on"]:
        until_s = min([at_s for at_s in switches if at_s > start.at_s], default=scenario.duration_s)
        until_s = min(until_s, start.at_s + _TRY_FOR_S)
        tries = int((until_s - start.at_s - 1.0) // _TRY_EVERY_S)
        steps += [replace(start, at_s=start.at_s + n * _TRY_EVERY_S) for n in range(1, tries + 1)]
    return tuple(sorted(steps, key=lambda s: s.at_s))


def _moved(scenario: Scenario, order: FaultOrder, chance: np.random.Generator) -> Scenario:
    """The scenario with one of its faults at another time, of another severity, at another place."""
    # Always four draws a fault, so that one fault's limits do not change what the next one gets.
    back, size, spot, _spare = (float(x) for x in chance.random(4))
    shift_s = _shift(scenario, order, back)
    low, high = _SEVERITY
    severity = min(1.0, round(order.severity * low * (high / low) ** size, 4))
    place = _other_place(scenario, order, spot)
    new = replace(order, onset_s=order.onset_s + shift_s, severity=severity, place=place)
    faults = tuple(new if one.id == order.id else one for one in scenario.faults)
    labels = tuple(_label_moved(x, order, new) if x.id == order.id else x for x in scenario.labels)
    steps = tuple(_step_moved(x, order, new) for x in scenario.steps)
    return replace(scenario, faults=faults, labels=labels, steps=steps)


def _shift(scenario: Scenario, order: FaultOrder, part: float) -> float:
    """Seconds to move an onset by; none where it would fall into a stretch that must stay quiet."""
    end_s = scenario.duration_s if order.end_s is None else order.end_s
    label = next((x for x in scenario.labels if x.id == order.id), None)
    if label is not None:
        end_s = min(end_s, label.until_s)
    most_s = min(_MOST_SHIFT_S, _SHIFT_SHARE * (end_s - order.onset_s))
    if order.onset_s <= 0.0:
        return 0.0
    shift_s = float(round(most_s * (2.0 * part - 1.0)))
    onset_s = order.onset_s + shift_s
    quiet = [x for x in scenario.labels if x.must_stay_quiet]
    into = [x for x in quiet if x.from_s <= onset_s < x.until_s or order.onset_s < x.from_s < onset_s]
    return 0.0 if onset_s < 0.0 or into else shift_s


def _other_place(scenario: Scenario, order: FaultOrder, part: float) -> int | None:
    numbered = FAULTS[order.fault].numbered
    if order.place is None or not numbered:
        return order.place
    others = [one for one in scenario.faults if one.id != order.id]
    taken = {one.place for one in others if FAULTS[one.fault].numbered == numbered}
    free = [n for n in range(1, scenario.line.places()[numbered] + 1) if n not in taken]
    return free[int(part * len(free))] if free else order.place


def _label_moved(label: Label, old: FaultOrder, new: FaultOrder) -> Label:
    """A label that begins with its fault goes with it; one that begins with what people do stays."""
    tags = tuple(_tag_moved(tag, old.place, new.place) for tag in label.tags)
    begins = abs(label.from_s - old.onset_s) < 1.0
    return replace(label, from_s=new.onset_s if begins else label.from_s, tags=tags)


def _step_moved(step: Step, old: FaultOrder, new: FaultOrder) -> Step:
    """What the operator does to a plate that fails goes with the plate."""
    if old.place is None or step.at_s < old.onset_s or step.place != old.place:
        return step
    return replace(step, place=new.place or 0)


def _tag_moved(tag: str, old: int | None, new: int | None) -> str:
    return tag if old is None else tag.replace(f".{old}.", f".{new}.", 1)
