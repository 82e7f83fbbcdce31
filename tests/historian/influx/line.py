"""A line of its own on the tests' server, behind a proxy of its own."""

from __future__ import annotations

import json
from pathlib import Path
from uuid import uuid4

from historian.influx import InfluxStore, Place
from historian.influx.delivery import Pace
from historian.influx.questions import text
from tests.historian.conformance import PATHS
from tests.support.influx import DATABASE, Influxd, WritePath

QUICK = Pace(first_wait_s=0.05, longest_wait_s=0.2)


class Line:
    """One line on the server.

    Attributes:
        proxy: what stands before the server.
        place: where its stores look.
        folder: of the waiting room.
    """

    def __init__(self, proxy: WritePath, folder: Path) -> None:
        self.proxy = proxy
        self.folder = folder
        self.place = Place(proxy.url, DATABASE, f"Linie 'ä' \"2\", a={uuid4()}", timeout_s=5.0)
        self._open: list[InfluxStore] = []

    def writer(self, *, patience_s: float = 10.0, pace: Pace = QUICK) -> InfluxStore:
        self._open.append(InfluxStore.open(self.place, self.folder, patience_s=patience_s, pace=pace))
        return self._open[-1]

    def reader(self) -> InfluxStore:
        self._open.append(InfluxStore.open(self.place, mode="read"))
        return self._open[-1]

    def close(self) -> None:
        for store in self._open:
            store.close()


def kept(influxd: Influxd, line: Line) -> int:
    """How many samples of the first tag the server holds, by its own count."""
    question = f'SELECT count("quality") FROM "sample" WHERE "line"={text(line.place.line)} AND "path"={text(PATHS[0])}'
    result = json.loads(influxd.ask(question))["results"][0]
    return int(result["series"][0]["values"][0][1]) if "series" in result else 0


def numbers(store: InfluxStore) -> list[int]:
    return [n for n, _ in store.frames()]
