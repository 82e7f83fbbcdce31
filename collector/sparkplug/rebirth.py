"""When an edge node is asked to be born again, and how.

Source: Sparkplug specification 3.0, tck-id-operational-behavior-data-commands-ncmd-rebirth-verb, -name and
-value; tck-id-payloads-ncmd-timestamp, -seq (none), -qos (0) and -retain (false).
"""

from __future__ import annotations

from typing import Final

from collector.sparkplug.sparkplug_b_pb2 import Payload
from collector.sparkplug.topic import NAMESPACE
from collector.sparkplug.types import DataType
from historian.frame import NS

REBIRTH: Final = "Node Control/Rebirth"

_FIRST_NS: Final = 5 * NS
_LONGEST_NS: Final = 60 * NS
_CALM_NS: Final = 180 * NS


class Asking:
    """Asks one node, at most every five seconds, and ever more rarely while that changes nothing.

    Attributes:
        reason: why it is to be asked; None when there is no need.
        asked: how often in vain since the need arose.
    """

    def __init__(self) -> None:
        self.reason: str | None = None
        self.asked = 0
        self._wait_ns = _FIRST_NS
        self._last_ns: int | None = None

    def want(self, reason: str) -> None:
        """A rebirth is needed; the first reason counts."""
        if self.reason is None:
            self.reason, self.asked = reason, 0

    def answered(self) -> None:
        """The node was born; how soon it may be asked again stays as it is."""
        self.reason = None

    def due(self, now_ns: int) -> str | None:
        """The reason when the node is to be asked now."""
        if self.reason is None:
            return None
        if self._last_ns is not None:
            passed_ns = abs(now_ns - self._last_ns)
            if passed_ns < self._wait_ns:
                return None
            calm = passed_ns > _CALM_NS
            self._wait_ns = _FIRST_NS if calm else min(2 * self._wait_ns, _LONGEST_NS)
        self._last_ns = now_ns
        self.asked += 1
        return self.reason


def rebirth_topic(group: str, node: str) -> str:
    """Where a node takes commands."""
    return f"{NAMESPACE}/{group}/NCMD/{node}"


def rebirth_body(now_ns: int) -> bytes:
    """The one command that a recorder sends."""
    now_ms = now_ns // 1_000_000
    payload = Payload(timestamp=now_ms)
    payload.metrics.add(name=REBIRTH, timestamp=now_ms, datatype=DataType.BOOLEAN, boolean_value=True)
    return bytes(payload.SerializeToString())
