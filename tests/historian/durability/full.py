"""What a store does on a full disk; each runs in a process of its own, under the layer that makes it full."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

import structlog

from historian import EmbeddedStore, StoreFull
from historian.care.findings import Trouble
from historian.care.judge import judge
from historian.care.look import look
from historian.embedded.upkeep import Upkeep
from historian.retention import Keep
from tests.historian.durability.checks import check
from tests.historian.durability.collecting import collecting
from tests.historian.durability.ledger import Ledger
from tests.historian.durability.life import tell_phases
from tests.historian.durability.sent import DAY, HOUR, TAGS, arrival_of, frame_of
from tests.support.shadow import Shadow

SEED = 4
RAW, MINUTES = 24 * HOUR, 3 * DAY
BLOCK = 4096


def appending(folder: Path, shadow: Shadow) -> None:
    """Appends fail loudly and leave nothing; what is there stays readable; then all goes on."""
    ledger = Ledger(SEED, 2**62, 2**62)
    store = EmbeddedStore.open(folder)
    store.register(TAGS)
    number = 0
    for room in (0, 1, 2, 3, 5, 9, 14):
        shadow.give_room(shadow.held() + room * BLOCK)
        told = ""
        for _ in range(400):
            ledger.sent = number + 3
            try:
                store.append(*(frame_of(SEED, n) for n in range(number + 1, number + 4)))
            except StoreFull as error:
                told = str(error)
                break
            number += 3
            ledger.acked = number
        assert "recent.db" in told and "Free space" in told, told
        # Nothing of it was kept, in the writer's own eyes and in another's.
        ledger.sent = number
        assert store.last_number() == number
        check(folder, ledger)
        shadow.give_room(None)
        number = store.append(frame_of(SEED, number + 1))
        ledger.acked = ledger.sent = number
        check(folder, ledger)
    store.close()
    assert shadow.times_full() > 0
    check(folder, ledger)


def lived(folder: Path, ledger: Ledger) -> None:
    """A store of three days, whose next upkeep has everything to do."""
    store = EmbeddedStore.open(folder)
    store.register(TAGS)
    keeper = Upkeep.open(folder, "line 1", Keep(raw_ns=RAW, minute_ns=MINUTES))
    for number in range(1, 150):
        store.append(frame_of(SEED, number))
        if number % 6 == 0 and number < 140:
            keeper.step(arrival_of(number))
    ledger.acked = ledger.sent = 149
    keeper.close()
    store.close()


def keeping(folder: Path, shadow: Shadow, *, every: bool) -> None:
    """A disk that fills up in any part of upkeep: the old state stays, and the next undisturbed try does all.

    Args:
        every: try each amount of room that is too little, else a few.
    """
    ledger = Ledger(SEED, RAW, MINUTES)
    before = shadow.beside / "before"
    lived(before, ledger)
    shortage = Shortage(ledger, shadow)
    tell_phases(shortage.tell)
    for phase in ("seal", "compact", "let go", "rollup", "retention"):
        for room in range(10_000) if every else (0, 6):
            shutil.copytree(before, folder)
            ledger.now_ns = arrival_of(ledger.acked)
            # The line is running: what SQLite keeps beside its file is there already.
            store = EmbeddedStore.open(folder)
            shortage.comes_with(phase, room)
            failed = _fails(folder, ledger)
            assert failed or room > 0, f"{phase} never met the full disk"
            shadow.give_room(None)
            store.close()
            _recovers(folder, ledger)
            shutil.rmtree(folder)
            if not failed:
                break


class Shortage:
    """A disk that is full from a moment on."""

    def __init__(self, ledger: Ledger, shadow: Shadow) -> None:
        self._ledger, self._shadow = ledger, shadow
        self._at, self._blocks = "", 0

    def comes_with(self, phase: str, blocks: int) -> None:
        """When the phase begins next, so many blocks are left."""
        self._at, self._blocks = f"> k {phase}", blocks

    def tell(self, line: str) -> None:
        """Follow the upkeep."""
        self._ledger.take(line)
        if line == self._at:
            self._at = ""
            self._shadow.give_room(self._shadow.held() + self._blocks * BLOCK)


def _fails(folder: Path, ledger: Ledger) -> bool:
    """Whether upkeep found the disk full; whatever it did, twice in a row, everything is still there."""
    failed = False
    keeper = Upkeep.open(folder, "line 1", Keep(raw_ns=RAW, minute_ns=MINUTES))
    for _ in range(2):
        ledger.open = {}
        try:
            keeper.step(ledger.now_ns)
        except StoreFull as error:
            failed = True
            assert str(folder) in str(error) and "space" in str(error).lower(), error
        check(folder, ledger, quick=True)
    keeper.close()
    return failed


def _recovers(folder: Path, ledger: Ledger) -> None:
    """With room again, all is done that was due and nothing lies about."""
    keeper = Upkeep.open(folder, "line 1", Keep(raw_ns=RAW, minute_ns=MINUTES))
    keeper.step(ledger.now_ns)
    keeper.close()
    check(folder, ledger)
    due = [f.text for f in judge(look(folder)) if f.trouble is not Trouble.HOLE]
    assert not due, due


def letting_go(folder: Path, shadow: Shadow) -> None:
    """A disk that old samples have filled to the last block is freed by retention, and recording goes on."""
    ledger = Ledger(SEED, 2**62, 2**62)
    store = EmbeddedStore.open(folder)
    store.register(TAGS)
    keeper = Upkeep.open(folder, "line 1", Keep())
    number = 0
    while number < 160:
        number = store.append(frame_of(SEED, number + 1))
        if number % 12 == 0:
            keeper.step(arrival_of(number))
    shadow.give_room(shadow.held() + 40 * BLOCK)
    try:
        while number < 1_000:
            number = store.append(frame_of(SEED, number + 1))
    except StoreFull:
        pass
    ledger.acked = ledger.sent = number
    check(folder, ledger)
    keeper.close()
    # Somebody shortens the time that raw samples stay.
    ledger.raw_ns = RAW
    ledger.now_ns = arrival_of(number)
    keeper = Upkeep.open(folder, "line 1", Keep(raw_ns=RAW))
    for _ in range(6):
        try:
            keeper.step(ledger.now_ns)
        except StoreFull:
            check(folder, ledger)
        else:
            break
    else:
        raise AssertionError("retention has not made room")
    ledger.sent = number + 1
    ledger.acked = store.append(frame_of(SEED, number + 1))
    keeper.close()
    store.close()
    check(folder, ledger)


def main(what: str) -> None:
    """Run one of them on the folder that the layer watches."""
    shadow = Shadow.here()
    shadow.root.mkdir(exist_ok=True)
    folder = shadow.root / "line"
    structlog.configure(processors=[], logger_factory=structlog.ReturnLoggerFactory())
    match what:
        case "appending":
            appending(folder, shadow)
        case "keeping" | "keeping at every block":
            keeping(folder, shadow, every=what != "keeping")
        case "letting go":
            letting_go(folder, shadow)
        case "collecting":
            collecting(folder, shadow)


if __name__ == "__main__":
    main(sys.argv[1])
