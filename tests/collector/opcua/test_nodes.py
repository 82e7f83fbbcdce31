"""Nodes are found by the namespace's URI, whatever its number is today."""

from __future__ import annotations

import pytest
from asyncua import ua

from collector import WrongNode
from collector.opcua.nodes import check_node, resolve

SPACES = ["http://opcfoundation.org/UA/", "urn:server", "http://example.org/a;b/"]


@pytest.mark.parametrize(
    ("text", "index", "identifier"),
    [
        ("nsu=urn:server;s=Filter.P1", 1, "Filter.P1"),
        ("nsu=http://example.org/a;b/;s=X", 2, "X"),
        ("nsu=urn:server;i=4711", 1, 4711),
        ("ns=4;s=Wiper.Angle", 4, "Wiper.Angle"),
        ("ns=4;s=has;s=in the=name", 4, "has;s=in the=name"),
        ("i=2258", 0, 2258),
        ("s=Plain", 0, "Plain"),
        (" ns=2;i=7 ", 2, 7),
    ],
)
def test_is_resolved(text: str, index: int, identifier: object) -> None:
    check_node(text)
    node = resolve(text, SPACES)
    assert (node.NamespaceIndex, node.Identifier) == (index, identifier)


def test_globally_unique_and_opaque_names() -> None:
    guid = resolve("ns=1;g=09087e75-8e5e-499b-954f-f2a9603db28a", SPACES)
    assert guid.NodeIdType is ua.NodeIdType.Guid
    assert resolve("ns=1;b=AQID", SPACES).Identifier == b"\x01\x02\x03"


@pytest.mark.parametrize(
    "text",
    [
        "",
        "Filter.P1",
        "ns=99999;s=X",
        "ns=1;i=4294967296",
        "i=²",
        "ns=;s=X",
        "ns=4",
        "i=abc",
        "nsu=;s=X",
        "ns=4;x=1",
        "ns=4;s=",
    ],
)
def test_what_cannot_be_read_is_said_with_an_example(text: str) -> None:
    with pytest.raises(WrongNode, match="nsu=URI;s=NAME"):
        check_node(text)


def test_a_namespace_that_the_server_lacks_is_named() -> None:
    with pytest.raises(WrongNode, match=r"urn:other.*urn:server"):
        resolve("nsu=urn:other;s=X", SPACES)


def test_a_malformed_name_is_our_error() -> None:
    with pytest.raises(WrongNode, match="no-guid"):
        resolve("ns=1;g=no-guid", SPACES)
