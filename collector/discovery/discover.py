"""What a server's address space is to the line: machines, tags that map themselves, and questions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from collector.discovery.companion import FoundMachine, claims_of, machines_of
from collector.discovery.companion_table import STANDARD
from collector.discovery.finding import Finding, Standing
from collector.discovery.free import propose_free
from collector.discovery.judged import judge_claims
from collector.discovery.neutral import told_apart
from collector.discovery.space import Space, SpaceNode

_PROPERTY = "i=68"
"""PropertyType: what describes something else."""


@dataclass(frozen=True, slots=True)
class Discovery:
    """What was understood.

    Attributes:
        machines: those that say by their type what they are.
        findings: every variable that is kept or asked about, by place.
        others: numbers that a standard describes and no tag is for, such as tolerances.
        texts: variables that hold no number.
        left_out: what was not looked at, in sentences.
    """

    machines: tuple[FoundMachine, ...]
    findings: tuple[Finding, ...]
    others: int = 0
    texts: int = 0
    left_out: tuple[str, ...] = ()

    def of(self, standing: Standing) -> list[Finding]:
        """The findings that stand so."""
        return [f for f in self.findings if f.standing is standing]


def discover(space: Space) -> Discovery:
    """What an address space is to the line; the same however its nodes were come by."""
    machines = machines_of(space)
    claims = [claim for machine in machines for claim in claims_of(space, machine)]
    mapped = judge_claims(space, claims)
    ways = space.ways()
    claimed = {claim.node.address for claim in claims}
    free: list[SpaceNode] = []
    others = texts = 0
    by_address = {m.node.address: m for m in machines}
    for node in sorted(space.nodes.values(), key=lambda n: n.address):
        if node.told is None or node.address in claimed or node.address not in ways:
            continue
        in_machine = any(a in by_address for a in ways[node.address])
        if node.type == _PROPERTY or (in_machine and node.uri.startswith(STANDARD)):
            others += in_machine and node.told.is_number
        elif node.told.is_number:
            free.append(node)
        else:
            texts += 1
    findings = told_apart([*mapped, *propose_free(space, free, ways, by_address)])
    findings.sort(key=lambda f: _order(f, machines))
    return Discovery(tuple(machines), tuple(findings), others, texts, space.left_out)


def _order(finding: Finding, machines: Sequence[FoundMachine]) -> tuple[int, list[tuple[int, str]], str]:
    """Machine by machine, and in each as a person counts: zone 2 before zone 10."""
    labels = [m.label for m in machines]
    at = labels.index(finding.machine) if finding.machine in labels else len(labels)
    return at, _counted(finding.path), finding.address


def _counted(path: str) -> list[tuple[int, str]]:
    return [(int(p), "") if p.isdigit() else (0, p) for p in path.split(".")]
