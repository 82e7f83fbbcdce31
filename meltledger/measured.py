"""Measures how a running line does and tells it to other programs, beside the recording."""

from __future__ import annotations

import asyncio
import shutil
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from pathlib import Path
from typing import Final

import structlog

from collector import Clock, Watch, health_tags
from historian.errors import OutsideWorldAway
from historian.event import Event, EventSink
from historian.tags import Tag
from meltledger.config import LineConfig
from meltledger.metrics import MetricsServer

DISK_EVERY_S: Final = 10.0

log = structlog.get_logger()


def all_tags(config: LineConfig) -> list[Tag]:
    """What a line's sources deliver, and how they and the recorder do."""
    return [*config.tags, *health_tags(section.name for section in config.file.source)]


@asynccontextmanager
async def measured(config: LineConfig, watch: Watch, clock: Clock, tell: EventSink) -> AsyncIterator[None]:
    """Keep the watch told of the disk, and answer ``/metrics`` and ``/healthz`` where the file asks for it.

    An address that cannot be had is told and never keeps a line from being recorded.
    """
    measuring = asyncio.create_task(_measure_disk(config.folder, watch))
    server = _server(config, watch, clock, tell)
    try:
        yield
    finally:
        if server is not None:
            await asyncio.to_thread(server.close)
        measuring.cancel()
        with suppress(asyncio.CancelledError):
            await measuring


def _server(config: LineConfig, watch: Watch, clock: Clock, tell: EventSink) -> MetricsServer | None:
    section = config.file.metrics
    if section is None:
        return None
    name = config.facts.name
    try:
        server = MetricsServer(name, watch, clock, section.address, section.port, within_s=section.within)
    except OutsideWorldAway as error:
        log.error("metrics_not_given_out", line=name, reason=str(error))
        tell(Event(clock.now_ns(), "edge", "metrics-trouble", f"The line is recorded, but {error}."))
        return None
    log.info("metrics_given_out", line=name, address=section.address, port=section.port)
    return server


async def _measure_disk(folder: Path, watch: Watch) -> None:
    """On a thread, because a disk that hangs answers late."""
    while True:
        try:
            room = await asyncio.to_thread(shutil.disk_usage, folder)
            watch.disk = (float(room.free), float(room.total))
        except OSError as error:
            watch.disk = None
            log.warning("disk_not_measured", folder=str(folder), reason=str(error))
        await asyncio.sleep(DISK_EVERY_S)
