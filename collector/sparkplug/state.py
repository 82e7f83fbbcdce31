"""What a host application says of itself.

Source: Sparkplug specification 3.0, 6.4.26 (STATE); tck-id-host-topic-phid-birth-payload and -death-payload.
"""

from __future__ import annotations

import json
from dataclasses import dataclass

from collector.sparkplug.topic import NAMESPACE


@dataclass(frozen=True, slots=True)
class State:
    """Whether a host is there; ``time_ms`` is that of its connection, milliseconds since 1970."""

    online: bool
    time_ms: int

    def body(self) -> bytes:
        """As it travels."""
        return json.dumps({"online": self.online, "timestamp": self.time_ms}).encode()


def state_topic(host_id: str) -> str:
    """Where a host tells of itself."""
    return f"{NAMESPACE}/STATE/{host_id}"


def read_state(body: bytes) -> State | None:
    """What a host says; None when that is no such message."""
    try:
        told = json.loads(body)
        online, time_ms = told["online"], told["timestamp"]
    except (ValueError, TypeError, KeyError, RecursionError):
        return None
    if not isinstance(online, bool) or not isinstance(time_ms, int) or isinstance(time_ms, bool):
        return None
    return State(online, time_ms)
