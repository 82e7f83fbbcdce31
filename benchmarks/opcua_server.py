"""An OPC UA server of many nodes that all change at once, as often as asked; run as a process of its own.

    python -m benchmarks.opcua_server '{"port": 4840, "nodes": 1000, "hz": 10, "folder": "..."}'

It says ``ready`` when it listens, and answers every line with the number of changes that a node has made.
Changes go straight into the subscriptions, past the library's address space, which would take most of a core.
"""

from __future__ import annotations

import asyncio
import json
import logging
import sys
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from asyncua import Server, ua

from simulator.opcua.security import Security, arm

URI = "urn:benchmark:machine"
SECURED = "Basic256Sha256"


class Changing:
    """The server.

    Args:
        nodes: how many.
        hz: changes of each a second.
    """

    def __init__(self, nodes: int, hz: float) -> None:
        self._nodes, self._hz = nodes, hz
        self.changes = 0

    async def serve(self, port: int, folder: Path) -> None:
        """Serve until standard input ends."""
        logging.disable(logging.CRITICAL)
        server = Server()
        await server.init()
        server.set_endpoint(f"opc.tcp://127.0.0.1:{port}/")
        await arm(server, Security(folder, policies=("None", SECURED)))
        index = await server.register_namespace(URI)
        machine = await server.nodes.objects.add_folder(index, "Machine")
        for number in range(self._nodes):
            await machine.add_variable(ua.NodeId(f"N{number}", index), f"N{number}", 0.0)
        loop = asyncio.get_running_loop()
        async with server:
            changing = asyncio.create_task(self._change(server))
            print("ready", flush=True)
            while await loop.run_in_executor(None, sys.stdin.readline):
                print(self.changes, flush=True)
            changing.cancel()

    async def _change(self, server: Any) -> None:
        due = time.monotonic()
        while True:
            self.changes += 1
            now = datetime.now(UTC)
            value = ua.DataValue(
                ua.Variant(float(self.changes), ua.VariantType.Double),
                SourceTimestamp=now,
                ServerTimestamp=now,
            )
            for subscription in list(server.iserver.subscription_service.subscriptions.values()):
                queue = subscription._triggered_datachanges  # noqa: SLF001
                for number, item in subscription.monitored_item_srv._monitored_items.items():  # noqa: SLF001
                    changed = ua.MonitoredItemNotification(ClientHandle=item.client_handle, Value=value)
                    queue.setdefault(number, []).append(changed)
            due += 1 / self._hz
            await asyncio.sleep(max(0.0, due - time.monotonic()))


if __name__ == "__main__":
    given = json.loads(sys.argv[1])
    asyncio.run(Changing(given["nodes"], given["hz"]).serve(given["port"], Path(given["folder"])))
