"""What a source tells of its server, each thing once."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import structlog
from asyncua import ua

from collector.clock import Clock
from collector.opcua.items import Item
from historian.event import Event, EventSink

_NAMED = 5  # tags in one sentence

_log = structlog.get_logger(__name__)


class Notices:
    """The words of one source.

    Args:
        name: the source's.
        clock: the edge's.
    """

    def __init__(self, name: str, clock: Clock) -> None:
        self._name, self._clock = name, clock
        self._said: set[tuple[str, str]] = set()
        self._unknown: dict[str, str] = {}
        self._lost = (0, 0)
        self.sink: EventSink = lambda event: None

    def say(self, kind: str, text: str, data: Mapping[str, object]) -> None:
        """Hand an event on, and log it."""
        _log.info("source_told", source=self._name, kind=kind, text=text)
        self.sink(Event(self._clock.now_ns(), self._name, kind, text, data))

    def unknown(self, unknown: Mapping[str, str], of: int) -> None:
        """Tell which nodes the server does not know, whenever that has changed."""
        if unknown and unknown != self._unknown:
            listed = "; ".join(f"{path}: {why}" for path, why in unknown.items())
            text = (
                f"Source {self._name} does not know {len(unknown)} of {of} nodes; the other tags go on. "
                f"{listed}. Remedy: correct the node in the line's file, or load the program that has it."
            )
            self.say("unknown-node", text, {"tags": dict(unknown)})
        self._unknown = dict(unknown)

    def wrong_units(self, refused: Mapping[str, str]) -> None:
        """Tell which tags are left out because of their unit."""
        for path, said in refused.items():
            text = (
                f"Tag {path} of source {self._name} is not collected: {said}. Remedy: write the unit that "
                "the machine really delivers into the line's file."
            )
            self._once("unit-refused", path, text)

    def mended(self, items: Iterable[Item]) -> None:
        """Tell which tags sent what is no number."""
        for item in items:
            text = (
                f"Tag {item.path}: source {self._name} sent something that is no number and called it good; "
                "it is kept as a broken sensor. Remedy: look at node "
                f"{item.reading.mapping.address} and its sensor."
            )
            self._once("not-a-number", item.path, text)

    def no_ranges(self, paths: Sequence[str]) -> None:
        """Tell which dead bands are left out."""
        for path in paths:
            text = (
                f"Tag {path} of source {self._name}: its dead band is a share of its range, and neither the "
                "server nor the catalogue tells a range; every sample is kept. Remedy: write the dead band "
                "in the tag's unit."
            )
            self._once("no-range", path, text)

    def short(self, short: Sequence[tuple[Item, ua.MonitoredItemCreateResult]]) -> None:
        """Tell that the server samples less often, or holds fewer, than it was asked for."""
        if not short:
            return
        worst, result = max(short, key=lambda s: _times_slower(*s))
        every_ms = worst.sampling.every_ms
        instead = f" instead of {every_ms:g}" if every_ms else ""
        names = ", ".join(item.path for item, _ in short[:_NAMED])
        more = f" and {len(short) - _NAMED} more" if len(short) > _NAMED else ""
        text = (
            f"Source {self._name} gives less than it was asked for, for {len(short)} tags ({names}{more}): "
            f"{worst.path} is sampled every {float(result.RevisedSamplingInterval):g} ms{instead}, "
            f"with room for {int(result.RevisedQueueSize)} samples instead of "
            f"{worst.sampling.depth}. Remedy: set the sampling and queue in the line's file to what the "
            "server can do, or change the server's limits."
        )
        self._once("sampling-revised", self._name, text)

    def unstamped(self, samples: int) -> None:
        """Tell that values come without a source time."""
        if samples:
            text = (
                f"Source {self._name} sends values without a source time; they are kept under the server's. "
                "Remedy: none if the server is the machine's own; else let it hand the machine's times on."
            )
            self._once("no-source-time", self._name, text)

    def lost(self, messages: int, overflows: int) -> None:
        """Tell that something got lost on the way since this was last asked.

        Args:
            messages, overflows: how many since the source was made.
        """
        before, self._lost = self._lost, (messages, overflows)
        messages, overflows = messages - before[0], overflows - before[1]
        if messages or overflows:
            text = (
                f"Source {self._name}: {messages} messages got lost on the way and {overflows} times its "
                "queue had overflowed; some samples are missing. Remedy: check the load of the network and "
                "of the server."
            )
            self.say("samples-dropped", text, {"messages": messages, "overflows": overflows})

    def _once(self, kind: str, path: str, text: str) -> None:
        if (kind, path) not in self._said:
            self._said.add((kind, path))
            self.say(kind, text, {"tag": path})


def _times_slower(item: Item, result: ua.MonitoredItemCreateResult) -> float:
    """How many times longer the server takes between two samples; 0 where it was to take what it can."""
    every_ms = item.sampling.every_ms
    return float(result.RevisedSamplingInterval) / every_ms if every_ms else 0.0
