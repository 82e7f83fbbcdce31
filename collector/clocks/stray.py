"""Single samples whose time cannot be true, of a source whose clock is right: kept at arrival; pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final

import numpy as np

from collector.clocks.wrong import BEHIND_NS, FUTURE_NS, MS, OLD_NS, whole_ms
from collector.columns import Columns
from collector.entry import ALIVE, Entry
from historian.clocks.trusted import MADE_NS
from historian.event import Event
from historian.frame import NS
from historian.quality import UNCERTAIN

_AGAIN_NS: Final = 60 * NS
_MOST: Final = 200
_SEVERITY: Final = 0xC000_0000


class Strays:
    """Brings samples with impossible times to their arrival, one shift a tag as long as it fits.

    So the samples of a tag keep their distances. Every new shift is told, with its tag and the stored time,
    in one event a minute at most.

    Args:
        name: of the source.
        paths: tag number → path.
    """

    def __init__(self, name: str, paths: Mapping[int, str]) -> None:
        self._name, self._paths = name, paths
        self._shift_ns: dict[int, int] = {}
        self._untold: list[dict[str, Any]] = []
        self._left_out = 0
        self._told_ns: int | None = None

    def knows(self, tags: Iterable[int]) -> bool:
        """Whether all of these tags have been astray."""
        return all(tag in self._shift_ns for tag in tags)

    def forget(self) -> None:
        """The source's clock stepped: what was astray may be right, and the other way round."""
        self._shift_ns.clear()

    def brought(
        self, entries: Sequence[Entry], now_ns: int, *, base_ns: int = 0, least_ns: int | None = None
    ) -> tuple[list[Entry], list[Event]]:
        """The entries, their impossible times replaced, and what is to be said.

        Args:
            base_ns: by how much the entries' times have been moved already.
            least_ns: a time before which nothing of the running clock epoch may lie.
        """
        low_ns = max(MADE_NS, least_ns or MADE_NS)
        high_ns, old_ns = now_ns + FUTURE_NS, max(low_ns, now_ns - OLD_NS)
        kept: list[Entry] = []
        strays: list[int] = []
        for entry in entries:
            if isinstance(entry, Columns):
                few = (entry.time_ns > high_ns) | (entry.time_ns < old_ns)
                if entry.resent or not few.any():
                    kept.append(entry)
                    continue
                strays += (len(kept) + np.flatnonzero(few)).tolist()
                kept += entry.rows()
                continue
            tag, time_ns, value, quality, first = entry
            if tag == ALIVE:
                time_ns = min(time_ns, now_ns)
            elif tag >= 0 and (time_ns > high_ns or time_ns < (low_ns if first else old_ns)):
                strays.append(len(kept))
            kept.append((tag, time_ns, value, quality, min(first, now_ns) if first > 1 else first))
        self._bring(kept, strays, now_ns, base_ns)
        return kept, self._events(now_ns)

    def _bring(self, entries: list[Entry], strays: Sequence[int], now_ns: int, base_ns: int) -> None:
        """Move the strays; the newest of each tag comes to its arrival where its old shift does not fit."""
        newest_ns: dict[int, int] = {}
        for at in strays:
            tag, time_ns, *_ = entries[at]  # type: ignore[misc]
            newest_ns[tag] = max(time_ns, newest_ns.get(tag, time_ns))
        for tag, time_ns in newest_ns.items():
            shift_ns = self._shift_ns.get(tag)
            if shift_ns is None or abs(time_ns + shift_ns - now_ns) > FUTURE_NS:
                self._shift_ns[tag] = self._note(tag, time_ns, now_ns, base_ns)
        for at in strays:
            tag, time_ns, value, quality, first = entries[at]  # type: ignore[misc]
            weak = quality if quality & _SEVERITY else UNCERTAIN
            shift_ns = self._shift_ns[tag]
            if abs(time_ns + shift_ns - now_ns) > BEHIND_NS:  # what it stamps goes to and fro
                shift_ns = self._note(tag, time_ns, now_ns, base_ns)
            entries[at] = (tag, time_ns + shift_ns, value, weak, first)
        self._left_out += max(0, len(self._untold) - _MOST)
        del self._untold[:-_MOST]

    def _note(self, tag: int, time_ns: int, now_ns: int, base_ns: int) -> int:
        """The shift that brings this time to its arrival, to be told."""
        shift_ns = whole_ms(now_ns - time_ns)
        said = {"tag": self._paths.get(tag, str(tag)), "stored_ns": time_ns + shift_ns}
        self._untold.append({**said, "shift_ms": (shift_ns + base_ns) // MS})
        return shift_ns

    def _events(self, now_ns: int) -> list[Event]:
        waited = self._told_ns is None or abs(now_ns - self._told_ns) >= _AGAIN_NS
        if not self._untold or not waited:
            return []
        self._told_ns = now_ns
        strays, self._untold = self._untold, []
        left_out, self._left_out = self._left_out, 0
        farthest = max(strays, key=lambda s: abs(s["shift_ms"]))
        far = -farthest["shift_ms"] / 1000
        future = far > 0
        text = (
            f"Source {self._name} sends samples {'from the future' if future else 'impossibly old'}: "
            f"{farthest['tag']} by {abs(far):.1f} s. They are kept at their arrival time with quality "
            "uncertain; what it stamped is the stored time less the shift. "
            "Remedy: set the machine's clock or its time server, or this computer's if it is wrong."
        )
        kind = "sample-from-future" if future else "sample-from-past"
        data = {"tag": farthest["tag"], "offset_s": far, "strays": strays, "left_out": left_out}
        return [Event(now_ns, self._name, kind, text, data)]
