"""Whether the host is there that a node waits for."""

from __future__ import annotations

import json

import pytest

from historian.errors import WrongInput
from simulator.sparkplug.primary_host import PrimaryHost

HOST = "spBv1.0/STATE/scada"


def _state(online: bool, time_ms: int) -> bytes:
    return json.dumps({"online": online, "timestamp": time_ms}).encode()


def test_only_a_newer_and_understood_message_tells_of_a_host() -> None:
    host = PrimaryHost("scada")
    assert (host.topic, host.online) == (HOST, False)
    assert not host.hear(_state(False, 10))
    assert host.hear(_state(True, 10))
    assert not host.hear(_state(True, 11))
    assert not host.hear(_state(False, 10))
    for strange in (
        b"ONLINE",
        b"\xff",
        b"[]",
        b"{}",
        b'{"online": "false", "timestamp": 20}',
        b'{"online": false}',
    ):
        assert not host.hear(strange)
    assert host.online
    assert host.hear(_state(False, 11))
    with pytest.raises(WrongInput, match="the primary host is a word"):
        PrimaryHost("a/b")
