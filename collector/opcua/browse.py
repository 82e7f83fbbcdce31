"""Looks at what a server has. It asks Browse and Read and nothing else.

Followed are forward hierarchical references between objects and variables; every node is looked at once, so
that cycles and nodes that are reached in several ways are normal.
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

from asyncua import ua
from asyncua.ua.object_ids import ObjectIds
from asyncua.ua.status_codes import StatusCodes
from asyncua.ua.uaerrors import UaStatusCodeError

from collector.discovery.companion_table import MACHINERY, MACHINES, MACHINES_FOLDER
from collector.discovery.space import Space, SpaceNode, Told
from collector.errors import SourceAway, WrongNode
from collector.opcua.limits import in_groups
from collector.opcua.link import Link
from collector.opcua.nodes import address_of, resolve
from collector.opcua.tell import tell_variables

_AT_ONCE: Final = 200
"""Nodes in one Browse; answers stay small, and progress is seen."""

_REFERENCES_AT_ONCE: Final = 1000
_OBJECTS: Final = ua.NodeClass.Object | ua.NodeClass.Variable
_HIERARCHICAL: Final = ua.NodeId(ua.Int32(ObjectIds.HierarchicalReferences))
_SUBTYPES: Final = ua.NodeId(ua.Int32(ObjectIds.HasSubtype))
_SERVER: Final = ua.NodeId(ua.Int32(ObjectIds.Server))
_ROOT: Final = "i=85"
"""The Objects folder."""

Progress = Callable[[str, int], None]
"""Called with what is being done and how much of it is done."""


@dataclass(frozen=True, slots=True)
class Bounds:
    """Where looking ends at the latest.

    Attributes:
        nodes: how many are looked at.
        below: how many are looked at below one node.
        seconds: how long it may take.
    """

    nodes: int = 50_000
    below: int = 5_000
    seconds: float = 180.0


async def browse(link: Link, bounds: Bounds, progress: Progress) -> Space:
    """A server's address space, as far as the bounds let see it; its own object Server is left out.

    Raises:
        SourceAway: the connection broke, or the server does not let itself be browsed.
    """
    look = _Look(link, bounds, progress)
    machines = await look.machine_types()
    roots = [_ROOT]
    await look.walk(_ROOT)
    if MACHINERY in link.namespaces and MACHINES_FOLDER not in look.nodes:
        roots.append(MACHINES_FOLDER)
        await look.walk(MACHINES_FOLDER)
    variables = [(look.ids[a], n) for a, n in look.nodes.items() if n.told is not None]
    told = await tell_variables(link, variables, look.is_late, lambda n: progress("variables read", n))
    nodes = {**look.nodes, **told}
    if look.is_late():
        look.say(
            f"it took longer than {look.bounds.seconds:.0f} s; what was not looked at by then is not here"
        )
    return Space(nodes, tuple(roots), machines, tuple(look.left_out))


@dataclass(slots=True)
class _Look:
    """One looking.

    Attributes:
        nodes: what was found so far, by address.
        ids: the server's own name of each.
        left_out: what was not looked at, in sentences.
    """

    link: Link
    bounds: Bounds
    progress: Progress
    nodes: dict[str, SpaceNode] = field(default_factory=dict)
    ids: dict[str, ua.NodeId] = field(default_factory=dict)
    left_out: list[str] = field(default_factory=list)
    _until_s: float = 0.0

    def __post_init__(self) -> None:
        self._until_s = time.monotonic() + self.bounds.seconds

    def is_late(self) -> bool:
        """Whether the time is up."""
        return time.monotonic() > self._until_s

    def say(self, text: str) -> None:
        """Note what was left out, once."""
        if text not in self.left_out:
            self.left_out.append(text)

    async def machine_types(self) -> Mapping[str, str]:
        """Every type of machine that the server has, makers' subtypes included → its name in the standard."""
        found: dict[str, str] = {}
        for name, kind in MACHINES.items():
            try:
                level = [resolve(kind.type, self.link.namespaces)]
            except WrongNode:
                continue  # a server without such machines
            while level and not self.is_late():
                new = [n for n in level if self._address(n) not in found]
                found |= {self._address(n): name for n in new}
                answers = await self._browse(new, _SUBTYPES, ua.NodeClass.ObjectType)
                level = [_plain(r.NodeId) for refs in answers for r in refs]
        return found

    async def walk(self, root: str) -> None:
        """Look at a root and at everything below it, level by level."""
        self.ids[root] = resolve(root, self.link.namespaces)
        self.nodes[root] = SpaceNode(root, "", root)
        level = [root]
        while level:
            following: list[str] = []
            for some in in_groups(level, min(_AT_ONCE, self.link.limits.browse)):
                if self.is_late():
                    return
                answers = await self._browse([self.ids[a] for a in some], _HIERARCHICAL, _OBJECTS)
                for address, references in zip(some, answers, strict=True):
                    following += self._take(address, references)
                self.progress("nodes found", len(self.nodes))
                # Other work of this program goes on.
                await asyncio.sleep(0)
            level = following

    def _take(self, address: str, references: Sequence[ua.ReferenceDescription]) -> list[str]:
        """Note what a node has; gives what is seen for the first time."""
        new: list[str] = []
        below: dict[str, None] = {}
        for reference in references:
            node = _plain(reference.NodeId)
            if getattr(reference.NodeId, "ServerIndex", 0) or node == _SERVER:
                continue
            at = self._address(node)
            if at not in self.nodes:
                if len(self.nodes) >= self.bounds.nodes:
                    self.say(f"it has more than {self.bounds.nodes} nodes; the others were not looked at")
                    break
                self.nodes[at], self.ids[at] = self._node(at, reference), node
                new.append(at)
            below[at] = None
        self.nodes[address] = replace(self.nodes[address], below=tuple(below))
        return new

    def _node(self, at: str, reference: ua.ReferenceDescription) -> SpaceNode:
        name, shown = reference.BrowseName, reference.DisplayName
        kind = _plain(reference.TypeDefinition)
        return SpaceNode(
            at,
            self._uri(name.NamespaceIndex),
            str(name.Name or ""),
            "" if kind.is_null() else self._address(kind),
            str(shown.Text or "") if shown is not None else "",
            told=Told() if reference.NodeClass == ua.NodeClass.Variable else None,
        )

    async def _browse(
        self, nodes: Sequence[ua.NodeId], references: ua.NodeId, classes: int
    ) -> list[list[ua.ReferenceDescription]]:
        """The references of each node."""
        return await self._answers([_description(n, references, classes) for n in nodes])

    async def _answers(self, asked: Sequence[ua.BrowseDescription]) -> list[list[ua.ReferenceDescription]]:
        """The references of each; a server that cannot take so much at once is asked for less."""
        if not asked:
            return []
        try:
            results = await self._request(asked)
        except SourceAway as error:
            if len(asked) == 1 or not isinstance(error.__cause__, UaStatusCodeError):
                raise
            half = len(asked) // 2
            return [*await self._answers(asked[:half]), *await self._answers(asked[half:])]
        # Continuation points are used up before anything else is asked: a server may drop old ones then.
        answers = [await self._whole(one, result) for one, result in zip(asked, results, strict=True)]
        for place, (one, result) in enumerate(zip(asked, results, strict=True)):
            if result.StatusCode.value == StatusCodes.BadNoContinuationPoints and len(asked) > 1:
                (answers[place],) = await self._answers([one])
            elif not result.StatusCode.is_good():
                self.say(f"{self._address(one.NodeId)} could not be looked into ({result.StatusCode.name})")
        return answers

    async def _request(self, asked: Sequence[ua.BrowseDescription]) -> list[ua.BrowseResult]:
        parameters = ua.BrowseParameters(
            RequestedMaxReferencesPerNode=ua.Counter(_REFERENCES_AT_ONCE), NodesToBrowse=list(asked)
        )
        return list(await self.link.ask(self.link.session.browse(parameters)))

    async def _whole(
        self, asked: ua.BrowseDescription, result: ua.BrowseResult
    ) -> list[ua.ReferenceDescription]:
        """A node's references, those that the server gives later included."""
        found = list(result.References or ())
        point = result.ContinuationPoint
        while point:
            enough = len(found) >= self.bounds.below or self.is_late()
            (more,) = await self.link.ask(
                self.link.session.browse_next(
                    ua.BrowseNextParameters(ReleaseContinuationPoints=enough, ContinuationPoints=[point])
                )
            )
            if enough or not more.StatusCode.is_good():
                why = "" if enough else f" ({more.StatusCode.name})"
                at = self._address(asked.NodeId)
                self.say(f"{at} has more than {len(found)} nodes; the others were not looked at{why}")
                break
            found += more.References or ()
            point = more.ContinuationPoint
        return found[: self.bounds.below]

    def _address(self, node: ua.NodeId) -> str:
        return address_of(node, self.link.namespaces)

    def _uri(self, index: int) -> str:
        namespaces = self.link.namespaces
        return namespaces[index] if index < len(namespaces) else f"unknown:{index}"


def _description(node: ua.NodeId, references: ua.NodeId, classes: int) -> ua.BrowseDescription:
    return ua.BrowseDescription(
        NodeId=node,
        BrowseDirection=ua.BrowseDirection.Forward,
        ReferenceTypeId=references,
        IncludeSubtypes=True,
        NodeClassMask=ua.UInt32(classes),
        ResultMask=ua.UInt32(ua.BrowseResultMask.All),
    )


def _plain(node: ua.NodeId) -> ua.NodeId:
    """A node's id without what only tells of other servers."""
    return ua.NodeId(node.Identifier, node.NamespaceIndex, node.NodeIdType)
