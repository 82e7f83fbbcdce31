"""Whether the host that an edge node waits for is online.

Source: Sparkplug specification 3.0, requirements tck-id-message-flow-edge-node-birth-publish-phid-wait,
-wait-id, -wait-online, -wait-timestamp and -offline.
"""

from __future__ import annotations

import json

from historian.errors import WrongInput


class PrimaryHost:
    """What the messages on a host's STATE topic say.

    Args:
        host_id: of the host, last part of the topic.

    Attributes:
        topic: where the host tells of itself.
        online: whether it is there, as far as this connection has heard.

    Raises:
        WrongInput: an id that cannot stand in a topic.
    """

    def __init__(self, host_id: str) -> None:
        if not host_id or set(host_id) & set("+/#\0"):
            raise WrongInput(f"'{host_id}': the primary host is a word without +, / and #")
        self.topic = f"spBv1.0/STATE/{host_id}"
        self.online = False
        self._newest_ms = 0

    def forget(self) -> None:
        """A new connection: it has heard nothing yet; the newest time still counts."""
        self.online = False

    def hear(self, body: bytes) -> bool:
        """Take in a message; whether the host came or went. What is older or not understood says nothing."""
        try:
            told = json.loads(body)
            online, time_ms = told["online"], told["timestamp"]
        except (ValueError, TypeError, KeyError):
            return False
        if not isinstance(online, bool) or not isinstance(time_ms, int) or time_ms < self._newest_ms:
            return False
        self._newest_ms = time_ms
        changed = online != self.online
        self.online = online
        return changed
