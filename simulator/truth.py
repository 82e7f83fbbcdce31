"""What really goes wrong in a scenario, when it could first be seen, and where nothing may be said."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from simulator.early_starts import FAULT, EarlyStarts
from simulator.faults import FAULTS, FaultOrder, tags_of
from simulator.moments import at_ns
from simulator.scenarios.scenario import Label, Scenario
from simulator.witness import Playing, SignalsOf, Witness

Entry = dict[str, Any]


def witness_of(
    scenario: Scenario, run: Playing, start: Callable[[Scenario], Playing], signals_of: SignalsOf
) -> Witness:
    """A witness of a run of the scenario that is at its start; ``start`` begins another one.

    Whoever moves the run on calls ``look`` after each second, or lets the witness move it.
    """
    return Witness(
        run,
        scenario.faults,
        signals_of=signals_of,
        afresh=lambda fault_id: start(_without(scenario, fault_id)),
        seed=scenario.seed,
        scatter=scenario.scatter,
        starts=EarlyStarts(scenario.labels, (order.id for order in scenario.faults)),
    )


def first_visible_s(
    scenario: Scenario, start: Callable[[Scenario], Playing], signals_of: SignalsOf
) -> Mapping[str, int]:
    """Id of a fault, or of a start that came too early → second at which it can first be seen; plays the
    scenario once, without sampling.

    Stops when all have been seen.
    """
    witness = witness_of(scenario, start(scenario), start, signals_of)
    last = int(scenario.duration_s)
    while witness.waiting and witness.run.second < last:
        witness.advance(min(last, witness.run.second + 60))
    return witness.first_visible_s


def truth_entries(scenario: Scenario, first_visible: Mapping[str, int], t0_ns: int) -> list[Entry]:
    """One entry a fault, in the scenario's order, then one a label of a mistake or of a quiet stretch.

    What the operator does wrong is no fault that was injected: a label names it, and it can be seen at once;
    but a start before the soak is over only where the plant had really not soaked.

    A label of the fault's own id says better than its kind what is expected of a finding. One that begins
    later than its fault says when the fault can be seen: a zero that is off, once a person has confirmed that
    pressure should read zero.
    ``first_visible_ns`` is None for a fault that nobody could see before the end. ``must_detect_within_s``
    counts from there; it is None for a fault that no rule must find before a person has marked it.

    Args:
        first_visible: id of a fault, or of a start that came too early → second.
        t0_ns: time of the scenario's second 0, UTC nanoseconds.
    """
    labels = {label.id: label for label in scenario.labels}
    faults = [_of_fault(order, labels.get(order.id), first_visible, t0_ns) for order in scenario.faults]
    injected = {order.id for order in scenario.faults}
    others = [
        label
        for label in scenario.labels
        if label.must_stay_quiet or (label.expected_severity is not None and label.id not in injected)
    ]
    return faults + [_of_label(label, first_visible, t0_ns) for label in others]


def _without(scenario: Scenario, fault_id: str) -> Scenario:
    return replace(scenario, faults=tuple(o for o in scenario.faults if o.id != fault_id))


def _of_fault(order: FaultOrder, label: Label | None, first_visible: Mapping[str, int], t0_ns: int) -> Entry:
    kind = FAULTS[order.fault]
    severity, within_s = kind.severity, kind.must_detect_within_s
    tags = tags_of(order)
    visible_s: float | None = first_visible.get(order.id)
    if label is not None:
        visible_s = None if visible_s is None else max(visible_s, label.from_s)
        tags = label.tags or tags
        severity = severity if label.expected_severity is None else label.expected_severity
        within_s = within_s if label.must_detect_within_s is None else label.must_detect_within_s
    return {
        "id": order.id,
        "fault": order.fault,
        "number": kind.number,
        "text": kind.text if label is None else label.text,
        "tags": list(tags),
        "place": order.place,
        "tag": order.tag or None,
        "source": order.source or None,
        "severity": order.severity,
        "onset_ns": at_ns(t0_ns, order.onset_s),
        "end_ns": at_ns(t0_ns, order.end_s),
        "first_visible_ns": at_ns(t0_ns, visible_s),
        "expected_severity": severity,
        "must_detect_within_s": within_s,
        "must_stay_quiet": False,
        "must_not_alarm": [] if label is None else list(label.must_not_alarm),
    }


def _of_label(label: Label, first_visible: Mapping[str, int], t0_ns: int) -> Entry:
    onset_ns = at_ns(t0_ns, label.from_s)
    visible_ns = at_ns(t0_ns, first_visible.get(label.id)) if label.fault == FAULT else onset_ns
    kind = FAULTS.get(label.fault)
    return {
        "id": label.id,
        "fault": label.fault or None,
        "number": None if kind is None else kind.number,
        "text": label.text,
        "tags": list(label.tags),
        "place": None,
        "tag": None,
        "source": None,
        "severity": None,
        "onset_ns": onset_ns,
        "end_ns": at_ns(t0_ns, label.until_s),
        "first_visible_ns": None if label.must_stay_quiet else visible_ns,
        "expected_severity": label.expected_severity,
        "must_detect_within_s": label.must_detect_within_s,
        "must_stay_quiet": label.must_stay_quiet,
        "must_not_alarm": list(label.must_not_alarm),
    }
