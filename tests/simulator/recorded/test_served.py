"""A recording over the protocols of the simulated line."""

from __future__ import annotations

import asyncio
import json
import time
from pathlib import Path
from typing import Any

import pytest
from asyncua import Client, ua

from historian.frame import NS
from historian.quality import NO_DATA, SENSOR_FAILURE
from simulator.mqtt_json import Form, serve_json
from simulator.opcua.server import NAMESPACE, serve
from simulator.recorded.csv_file import time_of
from simulator.recorded.playback import FileRecording, Playback
from simulator.serving.broker import broker_at
from simulator.serving.serving import Serving
from tests.support.hearer import Hearer
from tests.support.mosquitto import Mosquitto
from tests.support.ports import free_port
from tests.support.recordings import MINE, PRESSURE, ROWS, STATE, T0_NS, long_in


@pytest.mark.broker
async def test_a_recording_over_mqtt(mosquitto: Mosquitto, tmp_path: Path) -> None:
    hearer, told = Hearer(mosquitto.port, "line/#"), []
    playback = Playback(FileRecording(long_in(tmp_path / "rows.csv", ROWS)))
    broker = broker_at(f"mqtt://127.0.0.1:{mosquitto.port}")
    begun_ns = time.time_ns()
    await serve_json(playback, broker, Form(playback.tags, "line"), speed=100.0, ready=told.append)
    await asyncio.to_thread(hearer.wait, lambda m: len(m) == len(ROWS))
    hearer.close()
    (serving,) = told
    assert begun_ns - NS // 1000 <= serving.t0_ns <= time.time_ns()
    move_ns = serving.t0_ns - T0_NS
    heard = []
    for topic, payload, _, _ in hearer.messages:
        body = json.loads(payload)
        path = topic.removeprefix("line/").replace("/", ".")
        heard.append((path, time_of(body["t"]) - move_ns, body["v"], body["q"]))
    assert sorted(heard, key=str) == sorted(ROWS, key=str)


async def test_a_recording_over_opc_ua(tmp_path: Path) -> None:
    playback = Playback(FileRecording(long_in(tmp_path / "rows.csv", ROWS)), keep_times=True)
    stop = asyncio.Event()
    ready: asyncio.Future[Serving] = asyncio.get_running_loop().create_future()
    options: dict[str, Any] = {"stop": stop, "ready": ready.set_result, "speed": 10.0}
    async with asyncio.TaskGroup() as group:
        group.create_task(serve(playback, endpoint=f"opc.tcp://127.0.0.1:{free_port()}", **options))
        async with Client((await ready).endpoint) as client:
            index = await client.get_namespace_index(NAMESPACE)

            async def read(path: str) -> ua.DataValue:
                node = client.get_node(ua.NodeId(path, index))
                return await node.read_data_value(raise_on_bad_status=False)

            mine = await read(MINE.path)
            assert mine.StatusCode.value == 0x80320000, "a tag without a sample waits for its first one"
            await asyncio.sleep(0.5)
            pressure, state = await read(PRESSURE.path), await read(STATE.path)
        stop.set()
    assert pressure.StatusCode.value == NO_DATA
    assert pressure.SourceTimestamp.timestamp() == T0_NS / NS + 1
    assert state.StatusCode.value == SENSOR_FAILURE
