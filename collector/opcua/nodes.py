"""What the line's file calls a node, and what the server calls it today.

A namespace's number may change with every restart of a server, its URI does not. So a node is best written
``nsu=URI;s=NAME``; ``ns=4;s=NAME`` is read as well.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from asyncua import ua
from asyncua.ua.uaerrors import UaError

from collector.errors import WrongNode

SIMULATED_NAMESPACE = "urn:meltledger:simulated-line"
"""How a namespace of every simulated line begins, so that its data can never pass for a machine's."""

_NODE = re.compile(r"(?:nsu=(?P<uri>.+?);|ns=(?P<index>\d{1,5});)?(?P<name>[sigb]=.+)", re.DOTALL)


def check_node(text: str) -> str:
    """The node itself when it is written in a way that can be read.

    Raises:
        WrongNode: with an example, otherwise.
    """
    _parts(text)
    return text


def resolve(text: str, namespaces: Sequence[str]) -> ua.NodeId:
    """The server's node.

    Args:
        text: as the line's file writes it.
        namespaces: the server's namespace URIs in its order of now.

    Raises:
        WrongNode: it cannot be read, or the server has no such namespace.

    Example:
        >>> resolve("nsu=urn:b;s=P1", ["http://opcfoundation.org/UA/", "urn:a", "urn:b"]).NamespaceIndex
        2
    """
    uri, index, name = _parts(text)
    if uri is not None:
        if uri not in namespaces:
            raise WrongNode(
                f"node '{text}': the server has no namespace {uri}; it has {', '.join(namespaces[1:])}"
            )
        index = namespaces.index(uri)
    try:
        return ua.NodeId.from_string(f"ns={index};{name}")
    except (UaError, ValueError) as error:
        raise WrongNode(
            f"node '{text}' cannot be read: {error}. Write nsu=URI;s=NAME or ns=4;s=NAME"
        ) from error


def address_of(node: ua.NodeId, namespaces: Sequence[str]) -> str:
    """How a line's file writes a server's node, so that ``resolve`` finds it again.

    Args:
        namespaces: the server's namespace URIs in its order of now.

    Example:
        >>> address_of(ua.NodeId("P1", 2), ["http://opcfoundation.org/UA/", "urn:a", "urn:b"])
        'nsu=urn:b;s=P1'
    """
    index = node.NamespaceIndex
    if not index:
        return node.to_string()
    identifier = node.to_string().partition(";")[2]
    return f"nsu={namespaces[index]};{identifier}" if index < len(namespaces) else f"ns={index};{identifier}"


def is_simulated(namespaces: Sequence[str]) -> bool:
    """Whether a server is a simulated line: it then says so in the name of a namespace."""
    return any(f"{uri}:".startswith(f"{SIMULATED_NAMESPACE}:") for uri in namespaces)


def _parts(text: str) -> tuple[str | None, int, str]:
    found = _NODE.fullmatch(text.strip())
    if found is None or not _in_range(int(found["index"] or 0), found["name"]):
        raise WrongNode(f"node '{text[:120]}' cannot be read: write nsu=URI;s=NAME or ns=4;s=NAME")
    return found["uri"], int(found["index"] or 0), found["name"]


def _in_range(index: int, name: str) -> bool:
    """Whether the protocol's numbers can hold it; one that they cannot would spoil everyone's request."""
    if name.startswith("i="):
        return name[2:].isascii() and name[2:].isdigit() and int(name[2:]) < 2**32 and index < 2**16
    return index < 2**16
