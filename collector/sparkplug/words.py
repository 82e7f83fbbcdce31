"""What is told of edge nodes: in sentences, and not over and over."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from collector.complaints import printable
from collector.sparkplug.table import Table
from historian.frame import NS

_SHOWN: Final = 30
_EVERY_NS: Final = 60 * NS


@dataclass(frozen=True, slots=True)
class Told:
    """Something to be told: kind of the event, a sentence, figures."""

    kind: str
    text: str
    data: Mapping[str, object]


class Tale:
    """Collects what is to be told; of births and deaths of one device no more than one of each a minute.

    Args:
        source: its name.
    """

    def __init__(self, source: str) -> None:
        self._source = source
        self._told: list[Told] = []
        self._last_ns: dict[tuple[str, str], int] = {}
        self._withheld: dict[tuple[str, str], int] = {}

    def take(self) -> list[Told]:
        """What is to be told since the last call; hands it over."""
        told, self._told = self._told, []
        return told

    def born(self, node: str, device: str, table: Table, now_ns: int) -> None:
        """A node or device was born, and its metrics are not what they were."""
        tags = len(table.tag)
        said = [f"{self._whose(node, device)} was born: {tags} of its metrics are tags"]
        if table.unmapped:
            said.append(f"{len(table.unmapped)} are nobody's ({_listed(table.unmapped)})")
        if table.refused:
            words = [f"{name}: {kind}" for name, kind in table.refused.items()]
            said.append(f"{len(words)} that the line's file names are left out ({_listed(words)})")
        if table.lacking:
            lacking = _listed(table.lacking)
            said.append(f"{len(table.lacking)} that the line's file names are not there ({lacking})")
        data = {
            "node": node,
            "device": device,
            "tags": tags,
            "unmapped": [printable(name) for name in table.unmapped[:1000]],
            "refused": {printable(n): kind for n, kind in list(table.refused.items())[:1000]},
            "lacking": table.lacking[:1000],
        }
        self._tell("node-born", f"{node}/{device}", "; ".join(said), data, now_ns)

    def gone(self, node: str, device: str, tags: int, now_ns: int) -> None:
        """A node or device died."""
        text = f"{self._whose(node, device)} is gone; {tags} tags are marked as bad until it is born again"
        data = {"node": node, "device": device, "tags": tags}
        self._tell("node-gone", f"{node}/{device}", text, data, now_ns)

    def asked(self, node: str, reason: str, in_vain: int) -> None:
        """A node is asked for a rebirth."""
        again = f" It has been asked {in_vain} times in vain." if in_vain else ""
        text = f"{self._whose(node, '')} is asked to be born again: {reason}.{again}"
        self._told.append(Told("rebirth-asked", text, {"node": node, "reason": reason, "in_vain": in_vain}))

    def text(self, metric: str, text: str) -> None:
        """A metric that is wanted as a text has another one than before."""
        data = {"metric": metric, "text": text[:4000]}
        self._told.append(Told("text", f"{metric}: {printable(text)}", data))

    def _whose(self, node: str, device: str) -> str:
        whose = f"Device {printable(device)} of edge node {node}" if device else f"Edge node {node}"
        return f"{whose} of source {self._source}"

    def _tell(self, kind: str, who: str, text: str, data: dict[str, object], now_ns: int) -> None:
        key = (kind, who)
        last_ns = self._last_ns.get(key)
        if last_ns is not None and abs(now_ns - last_ns) < _EVERY_NS:
            self._withheld[key] = self._withheld.get(key, 0) + 1
            return
        self._last_ns[key] = now_ns
        if withheld := self._withheld.pop(key, 0):
            text += f"; {withheld} times more since this was last told"
            data["withheld"] = withheld
        self._told.append(Told(kind, f"{text}.", data))


def _listed(names: Sequence[str]) -> str:
    more = f" and {len(names) - _SHOWN} more" if len(names) > _SHOWN else ""
    return ", ".join(printable(name) for name in names[:_SHOWN]) + more
