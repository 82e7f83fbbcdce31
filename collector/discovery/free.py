"""Proposals for what no standard describes: every one is to be confirmed, and what is unclear is asked."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from collector.discovery.companion import FoundMachine
from collector.discovery.companion_table import MACHINES
from collector.discovery.finding import Finding, Standing
from collector.discovery.neutral import FOUND, neutral_path
from collector.discovery.proposal import Hints, Proposal, propose, propose_by_name, unit_taken_for
from collector.discovery.space import DURATION, Space, SpaceNode, number_of
from historian.tags import pattern_of

_AROUND = 3  # names above a variable that are heard


def propose_free(
    space: Space,
    variables: Iterable[SpaceNode],
    ways: Mapping[str, tuple[str, ...]],
    machines: Mapping[str, FoundMachine],
) -> list[Finding]:
    """What each variable may be.

    Args:
        ways: to each node, as ``Space.ways`` gives them.
        machines: by address; a variable below one is of it.
    """
    found = [_one(space, v, [space.nodes[a] for a in ways[v.address]], machines) for v in variables]
    from_zero = {p.from_zero for _, p in found if p.from_zero}
    return _who_else([_counted_from_zero(f) if pattern_of(f.becomes) in from_zero else f for f, _ in found])


def _one(
    space: Space, node: SpaceNode, way: Sequence[SpaceNode], machines: Mapping[str, FoundMachine]
) -> tuple[Finding, Proposal]:
    told = node.told
    above = [n for n in way[:-1] if n.told is None]
    machine = next((machines[n.address] for n in reversed(above) if n.address in machines), None)
    around = [n.name for n in reversed(above)][:_AROUND]
    if machine is not None:
        around.append(MACHINES[machine.kind].prefix)
    names = tuple(dict.fromkeys(n for n in (node.name, node.shown, told.text if told else "") if n))
    unit, value = space.unit(node), told.value if told else None
    if unit is not None and unit.code == "1":
        unit = None
    hints = Hints(names, tuple(around), unit, number_of(value), space.span(node))
    is_switch = isinstance(value, bool) or (told is not None and told.data_type == "i=1")
    proposal = propose_by_name(hints) if is_switch else propose(hints)
    count = len(proposal.readings)
    standing = Standing.UNKNOWN if count == 0 else Standing.CONFIRM if count == 1 else Standing.AMBIGUOUS
    code = (
        unit.code if unit is not None else "ms" if told is not None and told.data_type == DURATION else None
    )
    finding = Finding(
        node.address,
        "/".join(n.name for n in way),
        standing,
        neutral_path(FOUND, [n.name for n in way]),
        code or unit_taken_for(proposal.readings[0] if count == 1 else ""),
        next((n for n in names[1:] if n != node.name), node.name),
        proposal.readings[0] if count == 1 else "",
        proposal.readings if count > 1 else (),
        proposal.confidence if count == 1 else None,
        proposal.reason,
        machine.label if machine is not None else "",
    )
    return finding, proposal


def _counted_from_zero(finding: Finding) -> Finding:
    """A place of something that is counted from 0: it may be ours, or the one after."""
    before, number, after = _apart(finding.becomes)
    said = f"{finding.reason}; another of them counts from 0, so it may be the one after"
    readings = (finding.becomes, f"{before}{number + 1}{after}")
    return replace(
        finding, standing=Standing.AMBIGUOUS, becomes="", confidence=None, readings=readings, reason=said
    )


def _apart(tag: str) -> tuple[str, int, str]:
    before, after = pattern_of(tag).split("*")
    return before, int(tag[len(before) : len(tag) - len(after)]), after


def _who_else(findings: list[Finding]) -> list[Finding]:
    """The findings, with a word where several are proposed for one tag."""
    times = Counter(f.becomes for f in findings if f.becomes)
    return [
        replace(f, reason=f"{f.reason}; {times[f.becomes]} are proposed for it: only one can be")
        if times[f.becomes] > 1
        else f
        for f in findings
    ]
