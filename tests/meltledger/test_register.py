"""The register of sensors travels with the line: read whole or refused with every fault; checks only come to it."""

from __future__ import annotations

import stat
import threading
from datetime import date
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from historian.errors import StoreFull, WrongInput
from historian.sensors.register import Point, day_ns
from historian.written import Section
from meltledger.config import LineConfig, load
from meltledger.errors import LineFileWrong
from meltledger.linefile.register import CheckSection, SensorSection
from meltledger.register import add_check, load_register, register_path
from tests.meltledger.test_config import GOOD as FILE

SENSORS = """\
# Sensors of pilot-2.
[[sensor]]
tag = "filter.inlet.pressure.pv"
serial = "MP-1"
type = "melt pressure, push rod"
range = ["0 bar", "35 MPa"]
accuracy = "0.5 %"
interval = "1y"
resolution = "0.1 bar"

[[check]]
serial = "MP-1"
date = 2025-03-01
by = "workshop"
certificate = "C-1"
unit = "MPa"
as_found = [[0, 0.3], [20, 20.6]]
as_left = [[0, 0.02], [20, 20.06]]
zero = "3 bar"
reference = "0.2 bar"
"""


@pytest.fixture
def config(tmp_path: Path) -> LineConfig:
    path = tmp_path / "line.toml"
    path.write_text(FILE, encoding="utf-8")
    return load(path)


def written(config: LineConfig, text: str = SENSORS) -> Path:
    path = register_path(config)
    path.write_text(text, encoding="utf-8")
    return path


def faults(config: LineConfig) -> list[tuple[int, str, str]]:
    with pytest.raises(LineFileWrong) as caught:
        load_register(config)
    assert caught.value.path == register_path(config)
    return [(f.line, f.key, f.text) for f in caught.value.faults]


def test_it_is_read_in_the_tags_units(config: LineConfig) -> None:
    written(config)
    register = load_register(config)
    (sensor,), (check,) = register.sensors, register.checks
    assert (sensor.low, sensor.high, sensor.resolution) == (0.0, 350.0, 0.1)
    assert sensor.tolerance.limit(100.0) == pytest.approx(1.75)
    rows = [(p.reference, p.reading) for p in check.as_left]
    assert rows == [(0.0, pytest.approx(0.2)), (200.0, pytest.approx(200.6))]
    assert check.zero == Point(0.0, 3.0) and check.reference == pytest.approx(0.1)
    assert (check.day, check.by, check.certificate) == (date(2025, 3, 1), "workshop", "C-1")


def test_without_a_file_it_is_empty_but_a_named_one_must_be_there(config: LineConfig, tmp_path: Path) -> None:
    assert load_register(config).sensors == ()
    path = tmp_path / "line.toml"
    path.write_text(FILE + '\n[sensors]\npath = "plant/own.toml"\n', encoding="utf-8")
    named = load(path)
    assert register_path(named) == tmp_path / "plant" / "own.toml"
    with pytest.raises(WrongInput, match=r"own\.toml: there is no such file; see docs/channels"):
        load_register(named)


@pytest.mark.parametrize(
    ("old", "new", "line", "key", "said"),
    [
        ('serial = "MP-1"\ntype', 'serail = "MP-1"\ntype', 4, "sensor.1.serail", "nearest is 'serial'"),
        ('accuracy = "0.5 %"\n', "", 2, "sensor.1.accuracy", "missing"),
        ('"0.5 %"', '"0.5"', 7, "sensor.1.accuracy", "do not measure"),
        ('"0.5 %"', '"good"', 7, "sensor.1.accuracy", "no accuracy"),
        ('"0.5 %"', '"Pt100 A"', 7, "sensor.1.accuracy", "temperature sensors"),
        ('"35 MPa"', '"35 Cel"', 6, "sensor.1.range", "do not measure"),
        ('"35 MPa"', '"35 bar(a)"', 6, "sensor.1.range", "never mixed"),
        ('["0 bar", "35 MPa"]', '["35 MPa", "0 bar"]', 6, "sensor.1.range", "more than its first"),
        ('"1y"', '"1 year"', 8, "sensor.1.interval", "write such as"),
        ('"0.1 bar"', '"-0.1 bar"', 9, "sensor.1.resolution", "from 0 up"),
        ("inlet.pressure.pv", "inlet.presure.pv", 3, "sensor.1.tag", "nearest is 'filter.inlet.pressure.pv'"),
        ('serial = "MP-1"\ndate', 'serial = "MP-2"\ndate', 12, "check.1.serial", "nearest is 'MP-1'"),
        ("2025-03-01", '"2025-03-01"', 13, "check.1.date", "without quotes"),
        ("2025-03-01", "20250301", 13, "check.1.date", "without quotes"),
        ("2025-03-01", "2025-03-01T00:00:00Z", 13, "check.1.date", "without quotes"),
        ("2025-03-01", "2025-02-30", 13, "TOML", "mend the syntax"),
        ('unit = "MPa"', 'unit = "Mpa."', 16, "check.1.unit", "not known"),
        ('unit = "MPa"', 'unit = "Cel"', 16, "check.1.unit", "do not measure"),
        ("[[0, 0.3], [20, 20.6]]", "[[0, 0.3], [20]]", 17, "check.1.as_found.2.2", "missing"),
        ("[[0, 0.3], [20, 20.6]]", "[[0, nan], [20, 21]]", 17, "check.1.as_found", "finite"),
        ("[[0, 0.02], [20, 20.06]]", "[[0, 0.02]]", 18, "check.1.as_left", "at least two rows"),
        ('"3 bar"', '"3"', 19, "check.1.zero", "do not measure"),
        ('"0.2 bar"', '"0.2 K"', 20, "check.1.reference", "do not measure"),
        ("[[check]]", "[[chekc]]", 11, "chekc", "nearest is 'check'"),
    ],
)
def test_every_fault_has_its_line_and_key(
    config: LineConfig, old: str, new: str, line: int, key: str, said: str
) -> None:
    assert old in SENSORS
    written(config, SENSORS.replace(old, new, 1))
    told = faults(config)
    assert (line, key) in [(number, where) for number, where, _ in told], told
    assert any(said in text for _, _, text in told), told


def test_all_faults_are_told_at_once_and_doubles_are_faults(config: LineConfig) -> None:
    sensor, check = SENSORS.split("[[check]]")
    written(
        config,
        f"{sensor}{sensor}[[check]]{check}\n[[check]]{check}\n[[check]]\nserial='MP-1'\n"
        "date=2025-04-01\nby='x'\n",
    )
    told = {key: text for _, key, text in faults(config)}
    assert "two sensors are numbered" in told["sensor.2.serial"]
    assert "from the same day" in told["sensor.2.tag"]
    assert "two checks on 2025-03-01" in told["check.2.date"]
    assert "at least one of as_found" in told["check.3"]


def test_a_check_is_added_at_the_end_and_nothing_else_changes(config: LineConfig) -> None:
    path = written(config)
    path.chmod(0o640)
    entry = {
        "serial": "MP-1",
        "date": date(2026, 3, 2),
        "by": 'A "B" \\ \x7f',
        "as_found": [[0.0, 1e-07], [100, 101]],
    }
    register = add_check(config, entry)
    text = path.read_text(encoding="utf-8")
    assert text.startswith(SENSORS.rstrip())
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    assert [p.name for p in path.parent.iterdir() if "sensors" in p.name] == ["sensors.toml"]
    assert load_register(config) == register
    assert register.checks[-1].by == entry["by"]
    assert register.checks[-1].as_found == (Point(0.0, 1e-07), Point(100.0, 101.0))


@pytest.mark.parametrize(
    ("entry", "said"),
    [
        (
            {"serial": "MP-9", "date": date(2026, 3, 2), "by": "x", "zero": "1 bar"},
            "no sensor has the serial",
        ),
        ({"serial": "MP-1", "date": date(2025, 3, 1), "by": "x", "zero": "1 bar"}, "two checks on"),
        ({"serial": "MP-1", "date": date(2026, 3, 2), "by": "x"}, "at least one of"),
        ({"serial": "MP-1", "date": date(2026, 3, 2), "by": "x", "as_found": [[0, float("inf")]]}, "finite"),
        ({"serial": "MP-1", "date": date(2026, 3, 2), "by": "\udc80", "zero": "1 bar"}, "UTF-8"),
    ],
)
def test_a_wrong_check_leaves_the_register_as_it_was(
    config: LineConfig, entry: dict[str, object], said: str
) -> None:
    path = written(config)
    before = path.read_bytes()
    with pytest.raises(WrongInput, match=said):
        add_check(config, entry)
    assert path.read_bytes() == before
    assert {p.name for p in path.parent.iterdir()} == {"line.toml", "sensors.toml"}


def test_a_full_disk_leaves_the_register_as_it_was(
    config: LineConfig, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = written(config)

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(StoreFull):
        add_check(config, {"serial": "MP-1", "date": date(2026, 3, 2), "by": "x", "zero": "1 bar"})
    assert path.read_text(encoding="utf-8") == SENSORS


def test_two_who_add_at_once_lose_nothing(config: LineConfig) -> None:
    written(config)

    def add(first: int) -> None:
        for day in range(first, first + 6):
            add_check(config, {"serial": "MP-1", "date": date(2026, 1, day), "by": "x", "zero": "1 bar"})

    threads = [threading.Thread(target=add, args=(first,)) for first in (1, 11)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(load_register(config).checks) == 13


def test_a_link_stays_a_link(config: LineConfig, tmp_path: Path) -> None:
    (tmp_path / "shared").mkdir()
    kept = tmp_path / "shared" / "real.toml"
    kept.write_text(SENSORS, encoding="utf-8")
    register_path(config).symlink_to(kept)
    add_check(config, {"serial": "MP-1", "date": date(2026, 3, 2), "by": "x", "zero": "1 bar"})
    assert register_path(config).is_symlink() and "2026-03-02" in kept.read_text(encoding="utf-8")


TEXT = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=30)


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(
    by=TEXT,
    certificate=TEXT,
    rows=st.lists(st.tuples(st.floats(-1e9, 1e9), st.floats(-1e9, 1e9)), min_size=1),
)
def test_what_is_added_is_read_back(
    config: LineConfig, by: str, certificate: str, rows: list[tuple[float, float]]
) -> None:
    written(config)
    entry = {
        "serial": "MP-1",
        "date": date(2026, 3, 2),
        "by": by,
        "certificate": certificate,
        "as_found": rows,
    }
    add_check(config, entry)
    register = load_register(config)
    check = next(c for c in register.checks if c.day == date(2026, 3, 2))
    assert (check.by, check.certificate) == (by, certificate)
    assert check.as_found == tuple(Point(*row) for row in rows)
    assert register.sensor_at("filter.inlet.pressure.pv", day_ns(check.day)) is not None


PAGE = (Path(__file__).resolve().parents[2] / "docs" / "channels-and-calibration.md").read_text(
    encoding="utf-8"
)


def test_the_pages_example_is_read(config: LineConfig) -> None:
    example = next(b for b in PAGE.split("```toml\n")[1:] if b.startswith("[[sensor]]")).split("```")[0]
    written(config, example)
    register = load_register(config)
    assert [s.serial for s in register.sensors] == ["MP-0417", "MP-0533"]
    assert len(register.checks[0].as_found) == 3


@pytest.mark.parametrize("section", [SensorSection, CheckSection])
def test_the_page_names_every_key(section: type[Section]) -> None:
    assert all(f"`{key}`" in PAGE for key in section.model_fields)
