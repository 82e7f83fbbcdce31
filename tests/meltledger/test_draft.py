"""A drafted line's file can be read whatever a server calls its things, and says what was found."""

from __future__ import annotations

import tomllib
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from collector.discovery import Discovery, Standing, discover
from collector.discovery.space import Told
from collector.reading.told_unit import ToldUnit
from historian.catalogue import meaning_of
from meltledger.checked_toml import checked_text
from meltledger.config import LineConfig, load
from meltledger.draft import About, draft
from meltledger.linefile import LineFile
from tests.collector.discovery.spaces import PLASTICS, Growing, row_of, rows_of

ABOUT = About(
    "pilot", "Europe/Madrid", "opc.tcp://192.0.2.7:4840", access={"user": 'a "b"', "password_env": "P"}
)
ODD = st.text(max_size=30) | st.sampled_from(['"', "\\", "a\nb", "# no", "\x7f", "\x00", "ü €", "]]", "'''"])


def loaded(tmp_path: Path, discovery: Discovery) -> LineConfig:
    file = tmp_path / "line.toml"
    file.write_text(draft(discovery, ABOUT), encoding="utf-8")
    return load(file)


def small_line() -> Growing:
    """A filter and an extruder, and something that nobody describes."""
    growing = Growing()
    filter_, extruder = growing.machine("Filter"), growing.machine("Extruder")
    for number in range(1, 7):
        growing.row(filter_, row_of("Filter", "filter.plate.#.temp.pv"), number=number, unit="[degF]")
    for zone in [a for a, n in growing.nodes.items() if n.name.startswith("TemperatureZone_")]:
        growing.say(zone, "Name", "Heizplatte", PLASTICS)
    for number in range(1, 4):
        growing.row(extruder, row_of("Extruder", "extruder.zone.#.temp.pv"), number=number)
    growing.row(extruder, row_of("Extruder", "doser.rate.pv"))
    point = growing.row(
        filter_, rows_of("Filter", folder="MeltPressureZones", leaf="ActualValue")[0], name="P_3"
    )
    growing.say(
        next(a for a, n in growing.nodes.items() if point in n.below), "Name", "Massedruck vor Sieb", PLASTICS
    )
    growing.variable("PLC/Zone4Temp", 200.0, ToldUnit(-1, "°C"))
    growing.variable("PLC/HM0815", 200.0)
    return growing


def test_a_draft_holds_what_was_found_and_passes_the_check(tmp_path: Path) -> None:
    discovery = discover(small_line().space())
    config = loaded(tmp_path, discovery)
    (source,) = config.file.source
    kept = {f.path: f for f in discovery.findings if f.is_kept}
    assert set(source.delivers) == set(kept)
    for path, tag in source.delivers.items():
        finding = kept[path]
        assert (tag.address, tag.unit, tag.text) == (finding.address, finding.unit, finding.text)
        assert tag.confirm is (finding.standing is Standing.CONFIRM)
        assert (tag.becomes or "") == finding.becomes
    assert source.delivers["filter.melt_pressure_zones.p_3.pv"].becomes == "filter.inlet.pressure.pv"
    machines = [(m.kind, m.zones, m.plates) for m in config.file.machine]
    assert machines == [("doser", None, None), ("extruder", 3, None), ("melt-filter", None, 6)]
    assert (source.simulated, getattr(source, "user", "")) == (False, 'a "b"')


def test_what_is_not_kept_stands_there_to_be_taken_up(tmp_path: Path) -> None:
    discovery = discover(small_line().space())
    text = draft(discovery, ABOUT)
    assert "perhaps extruder.zone.4.temp.pv or " in text
    taken_up = "\n".join(
        line.removeprefix("# ") if line.startswith('# "found.') else line for line in text.splitlines()
    )
    file = tmp_path / "line.toml"
    file.write_text(taken_up, encoding="utf-8")
    assert {"found.plc.zone4_temp", "found.plc.hm0815"} <= {t.path for t in load(file).tags}


@given(st.lists(st.tuples(ODD, ODD, ODD, st.booleans()), min_size=1, max_size=8), st.integers(0, 9))
@settings(max_examples=40, deadline=None)
def test_whatever_things_are_called_the_draft_can_be_read(
    things: list[tuple[str, str, str, bool]], seed: int
) -> None:
    growing = small_line()
    for number, (folder, name, text, known) in enumerate(things):
        where = growing.add("i=85", folder, uri=text)
        words = "Massedruck vor Sieb" if known else name
        told = Told(float(number), "i=11", text=text)
        address = f"nsu=urn:x;s={name}{number}"
        variable = growing.add(where, words, uri=f"{number}", shown=text, told=told, address=address)
        growing.say(variable, "EngineeringUnits", ToldUnit(-1, text))
    discovery = discover(growing.space(seed))
    text = draft(discovery, ABOUT)
    assert tomllib.loads(text)
    file = checked_text(Path("line.toml"), text, LineFile)
    tags = file.source[0].delivers
    assert {f.path: f.address for f in discovery.findings if f.is_kept} == {
        p: t.address for p, t in tags.items()
    }
    assert not [p for p, t in tags.items() if t.confirm and meaning_of(p) is not None]
