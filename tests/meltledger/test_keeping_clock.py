"""Beside a running line nothing is sealed or let go of by a clock that nobody vouches for."""

from __future__ import annotations

from pathlib import Path

import pytest

from historian import EmbeddedStore, Frame, Tag
from historian.archive.manifest import DAY_NS
from historian.archive.writer import load_manifest
from historian.clocks.record import confirm
from historian.clocks.trusted import Known
from historian.errors import StoredDataDamaged
from historian.event import Event
from historian.frame import NS
from historian.retention import Keep
from historian.rollups.columns import HOUR_NS
from meltledger.believing import is_believed
from meltledger.keeping import _House

T0 = 1_893_456_000 * NS
PATH = "filter.inlet.pressure.pv"


class House:
    """A store with three days of samples, kept for two, and a clock."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.now, self.told = folder, T0 + 3 * DAY_NS, list[Event]()
        self.known = Known(passed_ns=self.now)
        self.store = EmbeddedStore.open(folder, synchronous="normal")
        self.store.register([Tag(PATH, "bar")])
        self.hours(0, 72)
        self.open()

    def open(self, keep_days: int = 30) -> None:
        keep = Keep(raw_ns=keep_days * DAY_NS)
        self.house = _House(self.folder, "line-1", keep, self, self.told.append, list, lambda: self.known)

    def now_ns(self) -> int:
        return self.now

    def hours(self, first: int, last: int, ahead_ns: int = 0) -> None:
        for hour in range(first, last):
            at = T0 + hour * HOUR_NS + ahead_ns
            self.store.append(Frame.of([1], [at], [float(hour)], [0], arrival_ns=at))

    def sealed(self) -> int:
        manifest = load_manifest(self.folder / "archive")
        return manifest.sealed_seq if manifest else 0

    def samples(self) -> int:
        return len(self.store.read([PATH], 0, 2**62)[PATH])


@pytest.fixture
def house(tmp_path: Path) -> House:
    return House(tmp_path)


def test_a_clock_a_year_ahead_removes_and_seals_nothing(house: House) -> None:
    house.house.step()
    assert house.sealed() == 72
    # A power cut; the clock comes up a year ahead, and samples are stored by it.
    house.house.close()
    house.open()
    house.now += 365 * DAY_NS
    house.hours(72, 74, ahead_ns=365 * DAY_NS)
    for _ in range(3):
        house.house.step()
    assert house.samples() == 74 and house.sealed() == 72
    (event,) = house.told
    assert event.kind == "upkeep-waits" and "365.0 days ahead" in event.text
    assert "meltledger clock confirm" in event.text
    # It is set right: nothing that was kept has gone.
    house.now -= 365 * DAY_NS
    house.house.step()
    assert [e.kind for e in house.told] == ["upkeep-waits", "upkeep-goes-on"]
    assert house.samples() == 74


def test_when_a_person_confirms_it_goes_on(house: House) -> None:
    house.house.step()
    house.now += 365 * DAY_NS
    house.hours(72, 74, ahead_ns=365 * DAY_NS)
    house.house.step()
    assert house.samples() == 74
    house.known = Known(house.known.passed_ns, confirmed_ns=house.now)
    house.now += 60 * NS
    house.hours(74, 77, ahead_ns=365 * DAY_NS)
    house.now += 5 * HOUR_NS
    house.house.step()
    house.house.step()
    assert house.samples() == 5, "what is older than thirty days has gone"
    assert [e.kind for e in house.told] == ["upkeep-waits", "upkeep-goes-on"]
    # It is believed from here on without further words.
    house.now += 10 * HOUR_NS
    house.known = Known(house.known.passed_ns)
    house.house.step()
    assert len(house.told) == 2


def test_when_a_source_says_so_it_goes_on(house: House) -> None:
    house.now += 20 * DAY_NS
    house.house.step()
    assert house.sealed() == 0
    house.known = Known(house.known.passed_ns, sources_ns=[house.now - NS])
    house.house.step()
    assert house.sealed() == 72 and [e.kind for e in house.told] == ["upkeep-waits", "upkeep-goes-on"]


def test_a_clock_behind_is_waited_for(house: House) -> None:
    house.house.step()
    house.hours(72, 80)
    house.now = 0
    house.house.step()
    assert "not set" in house.told[0].text and house.sealed() == 72


def test_frames_that_a_clock_ahead_brought_in_are_sealed_as_arrival_goes_on(house: House) -> None:
    """A new store, one source, a clock a year ahead: nobody could tell. It is set right later."""
    house.house.step()
    house.hours(72, 80, ahead_ns=365 * DAY_NS)
    house.now += 10 * HOUR_NS
    house.house.step()
    assert house.sealed() == 79, "the hour that is not over stays"
    assert house.samples() == 80


def test_who_speaks_for_the_clock_may_fail(house: House) -> None:
    def broken() -> Known:
        raise StoredDataDamaged("clock.jsonl, line 2: is not what was written there")

    house.house._known = broken
    house.house.step()
    assert house.told[0].kind == "sealing-trouble" and house.samples() == 72


def test_what_a_person_confirmed_is_believed_for_a_day(tmp_path: Path) -> None:
    assert not is_believed(tmp_path, T0)
    confirm(tmp_path, at_ns=T0, by="Kim", why="compared with my watch")
    assert is_believed(tmp_path, T0 + HOUR_NS)
    assert not is_believed(tmp_path, T0 + 30 * DAY_NS)
    (tmp_path / "clock.jsonl").write_text("nonsense\n", encoding="utf-8")
    assert not is_believed(tmp_path, T0 + HOUR_NS)
