"""The life of a line in a process of its own: frames are appended, and a keeper seals, rolls up and lets go.

Before and after each thing it writes a line, so that whoever stops it knows what it was at.
"""

from __future__ import annotations

import json
import os
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from historian import EmbeddedStore
from historian.archive.disk import HostDisk
from historian.archive.writer import ArchiveWriter
from historian.embedded.recent import Recent, Synchronous
from historian.embedded.upkeep import Upkeep
from historian.retention import Keep
from historian.rollups.writer import RollupWriter
from tests.historian.durability.sent import TAGS, arrival_of, frame_of

PHASES = ("append", "fold", "seal", "merge", "compact", "let go", "rollup", "retention")
_AHEAD = 5


@dataclass(frozen=True, slots=True)
class Life:
    """How a life goes.

    Attributes:
        folder: of the store.
        seed: of what is sent.
        frames: how many to append before it ends by itself; below zero: for ever.
        beside: the keeper runs on a thread of its own, else after every fourth frame.
        raw_ns, minute_ns: how long samples and one-minute rollups stay.
    """

    folder: str
    seed: int
    frames: int = -1
    beside: bool = True
    synchronous: Synchronous = "full"
    raw_ns: int = 2**62
    minute_ns: int = 2**62

    def text(self) -> str:
        """For a command line."""
        return json.dumps(asdict(self))


Tell = Callable[[str], None]


def live(life: Life, tell: Tell) -> None:
    """Live it."""
    folder = Path(life.folder)
    store = EmbeddedStore.open(folder, synchronous=life.synchronous)
    store.register(TAGS)
    first = store.last_number() + 1
    keeper = _Keeper(life, first - 1, tell)
    tell(f"opened {first - 1}")
    if life.beside:
        threading.Thread(target=keeper.keep_on, daemon=True).start()
    number = first
    while life.frames < 0 or number < first + life.frames:
        count = 1 + number % 3
        if life.beside:
            keeper.wait_for(count)
        tell(f"sending {number + count - 1}")
        with phase(tell, "w", "append"):
            last = store.append(*(frame_of(life.seed, n) for n in range(number, number + count)))
        tell(f"acked {last}")
        assert last == number + count - 1
        number, keeper.reached = last + 1, last
        if not life.beside and last // 4 > (last - count) // 4:
            keeper.step()


class _Keeper:
    """The upkeep of a life.

    Attributes:
        reached: the frame that was appended last.
    """

    def __init__(self, life: Life, reached: int, tell: Tell) -> None:
        keep = Keep(raw_ns=life.raw_ns, minute_ns=life.minute_ns)
        self._upkeep = Upkeep.open(Path(life.folder), "line 1", keep, disk=TellingDisk(tell))
        self._tell = tell
        self._ahead = threading.Semaphore(_AHEAD)
        self._done = self.reached = reached

    def wait_for(self, frames: int) -> None:
        """Appending runs ahead of upkeep, but not far."""
        for _ in range(frames):
            self._ahead.acquire()

    def keep_on(self) -> None:
        """Do what is due, again and again."""
        try:
            while True:
                self.step()
        except BaseException as error:
            self._tell(f"keeper failed: {error!r}")
            raise

    def step(self) -> None:
        """Do what is due."""
        upto = self.reached
        now_ns = arrival_of(upto)
        self._tell(f"now {now_ns}")
        self._upkeep.step(now_ns)
        for _ in range(upto - self._done):
            self._ahead.release()
        self._done = upto


@contextmanager
def phase(tell: Tell, thread: str, name: str) -> Iterator[None]:
    """Tell that something begins, and that it is over."""
    tell(f"> {thread} {name}")
    yield
    tell(f"< {thread}")


def told(owner: type[Any], method: str, name: str, tell: Tell, thread: str = "k") -> None:
    """Let a method tell when it is at work."""
    plain = getattr(owner, method)

    def telling(*args: Any, **named: Any) -> Any:
        with phase(tell, thread, name):
            return plain(*args, **named)

    setattr(owner, method, telling)


def tell_phases(tell: Tell) -> None:
    """Let everything that a store does to its disk be told."""
    told(ArchiveWriter, "seal", "seal", tell)
    told(ArchiveWriter, "compact", "compact", tell)
    told(ArchiveWriter, "drop", "retention", tell)
    told(RollupWriter, "bring_up", "rollup", tell)
    told(RollupWriter, "drop", "retention", tell)
    told(Recent, "let_go", "let go", tell)
    told(Recent, "fold", "fold", tell, "w")


class TellingDisk(HostDisk):
    """The host's disk; tells when an hour is not sealed for the first time but merged with what is there."""

    def __init__(self, tell: Tell) -> None:
        self._tell = tell

    def write(self, path: Path, data: bytes) -> None:
        kind, *rest = path.name.split("-")
        if kind == "hour":
            there = {other.name.split("-")[2] for other in path.parent.glob(f"hour-{rest[0]}-*")}
            if there - {rest[1]}:
                self._tell("= k merge")
        super().write(path, data)


def nursery() -> None:
    """Start a life for each line that is read, and say when it is over; imports are paid for once."""
    for line in sys.stdin:
        child = os.fork()
        if child == 0:
            _born(Life(**json.loads(line)), 1)
        _say(1, f"born {child}")
        os.waitpid(child, 0)
        _say(1, "dead")


def _born(life: Life, to: int) -> None:
    """Live, then go without closing anything."""
    status = 1
    try:
        tell_phases(lambda line: _say(to, line))
        live(life, lambda line: _say(to, line))
        status = 0
    except BaseException as error:
        _say(to, f"failed: {error!r}")
        raise
    finally:
        os._exit(status)


def _say(to: int, line: str) -> None:
    # One short write: a kill cannot tear it.
    os.write(to, f"{line}\n".encode())


if __name__ == "__main__":
    if len(sys.argv) > 1:
        notes = os.open(os.environ["SHADOW_NOTES"], os.O_WRONLY | os.O_CREAT | os.O_APPEND)
        _born(Life(**json.loads(sys.argv[1])), notes)
    nursery()
