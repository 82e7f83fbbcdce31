"""Loads published nodesets into a server and grows instances of their types, node by node."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from asyncua import ua
from asyncua.common.copy_node_util import copy_node
from asyncua.common.instantiate_util import instantiate
from asyncua.common.node import Node
from asyncua.common.ua_utils import get_node_supertypes
from asyncua.server.server import Server
from asyncua.ua.object_ids import ObjectIds

from historian.errors import WrongInput

OPC = "http://opcfoundation.org/UA/"
_PLACEHOLDER = re.compile(r"<[^>]*>")


async def load_nodesets(server: Server, folder: Path) -> None:
    """Import every nodeset of a folder, in the order of the file names.

    Raises:
        WrongInput: no nodesets there.
    """
    for file in nodeset_files(folder):
        await server.import_xml(str(file))


def nodeset_files(folder: Path) -> list[Path]:
    """The nodesets of a folder, in the order of their names.

    Raises:
        WrongInput: there are none.
    """
    files = sorted(folder.glob("*.NodeSet2.xml"))
    if not files:
        raise WrongInput(f"{folder}: no *.NodeSet2.xml there; name the folder of the published nodesets")
    return files


class Grower:
    """Adds to instances what their types declare, when it is asked for.

    Mandatory nodes come with each object; optional ones only when they are grown.
    """

    def __init__(self, index: int) -> None:
        self._index = index
        self._declared: dict[ua.NodeId, list[ua.ReferenceDescription]] = {}

    async def plant(self, parent: Node, type_node: Node, name: ua.QualifiedName) -> Node:
        """A new instance of an object type with its mandatory nodes."""
        nodes = await instantiate(
            parent, type_node, nodeid=self._new_id(), bname=name, instantiate_optional=False
        )
        return self._node(parent, nodes[0].nodeid)

    async def grow(self, parent: Node, names: Sequence[str]) -> list[Node]:
        """The nodes along those browse names below an instance, grown where they are missing."""
        nodes = []
        for name in names:
            parent = await self._child(parent, name)
            nodes.append(parent)
        return nodes

    def _new_id(self) -> ua.NodeId:
        # An empty number: the server gives the next one, so that no id tells what stands behind it.
        return ua.NodeId(NamespaceIndex=ua.Int16(self._index))

    async def _child(self, parent: Node, name: str) -> Node:
        for child in await parent.get_children_descriptions():
            if child.BrowseName.Name == name:
                return self._node(parent, child.NodeId)
        declared = await self._declaration(parent, name)
        qualified = ua.QualifiedName(name, declared.BrowseName.NamespaceIndex)
        if declared.NodeClass == ua.NodeClass.Object:
            return await self.plant(parent, self._node(parent, declared.TypeDefinition), qualified)
        made = await copy_node(parent, self._node(parent, declared.NodeId), self._new_id(), recursive=False)
        return self._node(parent, made[0].nodeid)

    async def _declaration(self, parent: Node, name: str) -> ua.ReferenceDescription:
        """What the parent's type says of such a child."""
        type_id = await parent.read_type_definition()
        if type_id is None:
            raise WrongInput(f"{parent.nodeid} has no type: the nodesets are not those of OPC 40084 v2.00")
        if type_id not in self._declared:
            found = []
            for kind in await get_node_supertypes(self._node(parent, type_id), includeitself=True):
                found += await kind.get_children_descriptions()
            self._declared[type_id] = found
        for declared in self._declared[type_id]:
            pattern = ".+".join(re.escape(part) for part in _PLACEHOLDER.split(declared.BrowseName.Name))
            if re.fullmatch(pattern, name):
                return declared
        raise WrongInput(f"the nodesets declare no {name} in {type_id}; name those of OPC 40084 v2.00")

    @staticmethod
    def _node(parent: Node, node_id: Any) -> Node:
        return Node(parent.session, node_id)


async def write_property(
    parent: Node, index: int, name: str, value: ua.Variant, *, standard: int = 0
) -> None:
    """Set a property, adding it where the instance has none.

    Args:
        index: namespace of a new node's id.
        standard: namespace of its browse name.
    """
    for child in await parent.get_children_descriptions(refs=ObjectIds.HasProperty):
        if child.BrowseName.Name == name:
            await Node(parent.session, child.NodeId).write_value(value)
            return
    await parent.add_property(
        ua.NodeId(NamespaceIndex=ua.Int16(index)), ua.QualifiedName(name, ua.Int16(standard)), value
    )
