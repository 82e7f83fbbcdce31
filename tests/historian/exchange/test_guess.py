"""The guesser: its proposal is a mapping that works, and what is not sure is said."""

from __future__ import annotations

from pathlib import Path

import pytest

from historian import EmbeddedStore
from historian.errors import WrongInput
from historian.exchange import Proposal, guess_mapping, import_csv, read_mapping
from historian.frame import NS


def propose(folder: Path, text: str, encoding: str = "utf-8") -> Proposal:
    path = folder / "file.csv"
    path.write_bytes(text.encode(encoding))
    found = guess_mapping(path, zone="Europe/Madrid")
    assert read_mapping(found.text).model_dump() == found.mapping.model_dump()
    store = EmbeddedStore.open(folder / "store")
    try:
        report = import_csv(store, path, found.mapping, now_ns=NS, dry_run=True)
        assert report.reject_count == 0 and report.samples > 0
    finally:
        store.close()
    return found


def tags(found: Proposal) -> dict[str, str]:
    return {c.name or str(c.number): c.tag for c in found.mapping.column}


def test_a_german_panel(tmp_path: Path) -> None:
    rows = "\n".join(
        f"01.07.2026;12:{m:02d}:00;{80 + m},5;{200 + m},25;{'Ein' if m % 2 else 'Aus'};PP 100 mesh;Rot"
        for m in range(30)
    )
    text = (
        "Anlage 2\nExport vom 01.07.2026\n\n"
        "Datum;Uhrzeit;Druck vor Filter [bar(g)];Zone 3 Temperatur [°C];Pumpe;Sieb mesh;Farbe\n" + rows + "\n"
    )
    found = propose(tmp_path, text, "cp1252")
    file, time = found.mapping.file, found.mapping.time
    assert (file.separator, file.decimal, file.encoding) == (";", ",", "cp1252")
    assert (file.header_line, file.first_line, file.form) == (4, 5, "wide")
    assert (time.columns, time.format, time.zone) == (
        ("Datum", "Uhrzeit"), "%d.%m.%Y %H:%M:%S", "Europe/Madrid",
    )  # fmt: skip
    assert tags(found)["Druck vor Filter"] == "filter.inlet.pressure.pv"
    assert found.mapping.column[0].reference == "gauge"
    assert found.mapping.column[2].words == {"ein": 1, "aus": 0}
    assert any("never turned into micrometres" in d for d in found.doubts)
    assert any("'Farbe' is text" in d for d in found.doubts)
    assert any("winter time" in d for d in found.doubts)


def test_a_logger_with_a_line_of_units_and_american_dates(tmp_path: Path) -> None:
    rows = "\n".join(
        f"07/{d:02d}/2026 01:00:00 PM,{d}.5,{'OVER' if d == 3 else 70 + d},1" for d in range(1, 29)
    )
    text = "Timestamp,Head pressure,Melt temp,Ch 3\n,psi,°F,\n" + rows
    found = propose(tmp_path, text)
    assert found.mapping.time.format == "%m/%d/%Y %I:%M:%S %p"
    assert (found.mapping.file.header_line, found.mapping.file.units_line) == (1, 2)
    assert found.mapping.file.bad == ("OVER",)
    by_tag = {c.tag: c for c in found.mapping.column}
    assert by_tag["extruder.head.pressure.pv"].unit == "[psi]"
    assert any("does not say gauge or absolute" in d for d in found.doubts)
    assert "panel.ch_3.pv" in by_tag
    assert "# " in found.text and "name of its own" in found.text


def test_day_and_month_that_cannot_be_told_apart_are_a_doubt(tmp_path: Path) -> None:
    rows = "\n".join(f"03/04/2026 12:{m:02d}:00;{m}" for m in range(20))
    found = propose(tmp_path, "time;x\n" + rows)
    assert any("which is the day?" in d for d in found.doubts)


def test_the_run_of_the_times_tells_day_from_month(tmp_path: Path) -> None:
    rows = "\n".join(f"07/{d:02d}/2026 12:00:00;{d}" for d in range(1, 12))
    assert propose(tmp_path, "time;x\n" + rows).mapping.time.format == "%m/%d/%Y %H:%M:%S"


def test_the_long_form_is_seen(tmp_path: Path) -> None:
    rows = "\n".join(
        f"{name}\t2026-07-01 12:00:{s:02d}\t{s}\t1" for s in range(20) for name in ("P_in", "T_melt")
    )
    found = propose(tmp_path, "VarName\tTimeString\tVarValue\tValidity\n" + rows, "utf-16")
    assert found.mapping.file.form == "long" and found.mapping.file.encoding == "utf-16"
    assert found.mapping.long is not None and found.mapping.long.value == "VarValue"
    assert set(tags(found)) == {"P_in", "T_melt"}


def test_a_file_without_a_header_is_mapped_by_number(tmp_path: Path) -> None:
    rows = "\n".join(f"2026-07-01T12:00:{s:02d}Z,{s},{s * 2}" for s in range(20))
    found = propose(tmp_path, rows)
    assert found.mapping.file.header_line == 0 and found.mapping.file.first_line == 1
    assert [c.number for c in found.mapping.column] == [2, 3]
    assert found.mapping.time.columns == (1,)


def test_columns_with_one_name_are_told_apart(tmp_path: Path) -> None:
    rows = "\n".join(f"2026-07-01T12:00:{s:02d},{s},{s * 2}" for s in range(20))
    found = propose(tmp_path, "time,Temp,Temp\n" + rows)
    assert [c.number for c in found.mapping.column] == [2, 3]
    assert len({c.tag for c in found.mapping.column}) == 2


def test_a_canonical_path_in_the_header_is_taken(tmp_path: Path) -> None:
    rows = "\n".join(f"17723664{s:02d},{s}" for s in range(20))
    found = propose(tmp_path, "t,pump.speed.pv [r/min]\n" + rows)
    assert found.mapping.time.format == "unix_s"
    assert (found.mapping.column[0].tag, found.mapping.column[0].unit) == ("pump.speed.pv", "/min")


def test_thousands_are_seen(tmp_path: Path) -> None:
    rows = "\n".join(f"2026-07-01T12:00:{s:02d};1.2{s:02d},5" for s in range(20))
    found = propose(tmp_path, "time;Zähler [kWh]\n" + rows)
    assert (found.mapping.file.decimal, found.mapping.file.thousands) == (",", ".")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "no rows of separated cells"),
        ("one\ntwo\nthree\n", "no rows of separated cells"),
        ("a,b\n1,2\n3,4\n", "no column of times"),
        ("time;x\n2026-07-01T12:00:00;red\n2026-07-01T12:00:01;blue\n", "no column of numbers"),
    ],
)
def test_what_is_no_table_of_times_is_told(tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "file.csv"
    path.write_text(text)
    with pytest.raises(WrongInput, match=said):
        guess_mapping(path, zone="UTC")


def test_a_zone_that_is_not_known_is_told(tmp_path: Path) -> None:
    (tmp_path / "file.csv").write_text("time;x\n2026-07-01T12:00:00;1\n")
    with pytest.raises(WrongInput, match="no time zone"):
        guess_mapping(tmp_path / "file.csv", zone="Europe/Atlantis")
    with pytest.raises(WrongInput, match="cannot be read"):
        guess_mapping(tmp_path / "none.csv", zone="UTC")


def test_lines_before_the_header_are_not_taken_for_data(tmp_path: Path) -> None:
    rows = "".join(f"2026-07-01 12:00:{s:02d};{s};{s}\n" for s in range(20))
    found = propose(
        tmp_path, "Logger X;;\nSerial;123;\nStart;01.07.2026;\n\nTime;T1;T2\n;°C;°C\n" + rows + "\n"
    )
    assert (found.mapping.file.header_line, found.mapping.file.units_line) == (5, 6)
    assert [(c.name, c.unit) for c in found.mapping.column] == [("T1", "Cel"), ("T2", "Cel")]


def test_a_name_that_fits_several_machines_is_left_to_a_person(tmp_path: Path) -> None:
    rows = "".join(f"2026-07-01 12:00:{s:02d};{s};{s};{s}\n" for s in range(20))
    found = propose(tmp_path, "time;Zone 3 temp [°C];Barrel zone 3 temp [°C];Presión [psi(g)]\n" + rows)
    assert [c.tag for c in found.mapping.column] == [
        "panel.zone_3_temp.pv", "extruder.zone.3.temp.pv", "panel.presion.pv",
    ]  # fmt: skip
    assert any("may be " in d and "die.zone.3.temp.pv" in d for d in found.doubts)


@pytest.mark.parametrize(
    ("words", "qualities", "said"),
    [
        (("OK", "Doubtful", "FAULT"), {"OK": "good", "Doubtful": "uncertain", "FAULT": "bad"}, ""),
        (("192", "192", "0"), {"192": "good", "0": "uncertain"}, "192 as good, 0 as uncertain"),
        (("0", "0x40940000", "2156658688"), {}, ""),
    ],
)
def test_what_qualities_mean_is_proposed_and_asked(
    tmp_path: Path, words: tuple[str, ...], qualities: dict[str, str], said: str
) -> None:
    rows = "\n".join(f"2026-07-01 12:00:{s:02d};P1;{s};{words[s % 3]}" for s in range(30))
    found = propose(tmp_path, "time;tag;value;quality\n" + rows)
    assert dict(found.mapping.qualities) == qualities
    assert [said in d for d in found.doubts if "qualities mean" in d] == [True] * bool(said)


def test_a_count_of_milliseconds_may_run_backwards(tmp_path: Path) -> None:
    rows = "\n".join(f"17723664{s:02d}000,{s}" for s in range(59, 0, -1))
    assert propose(tmp_path, "t,x\n" + rows).mapping.time.format == "unix_ms"


def test_a_switch_with_an_odd_word_is_still_a_switch(tmp_path: Path) -> None:
    rows = [f"2026-07-01 12:00:{s:02d};{'Ein' if s % 3 else 'Aus'}" for s in range(40)]
    rows[7] = rows[7].replace("Ein", "Stör").replace("Aus", "Stör")
    path = tmp_path / "file.csv"
    path.write_text("time;Pumpe\n" + "\n".join(rows), encoding="utf-8")
    assert guess_mapping(path, zone="UTC").mapping.column[0].words == {"ein": 1, "aus": 0}


def test_the_form_of_the_date_may_stand_in_the_line_of_units(tmp_path: Path) -> None:
    rows = "\n".join(f"01/07/2026 12:{m:02d};{m},5;{m}" for m in range(30))
    found = propose(tmp_path, "Fecha;Caudal;Masa\ndd/mm/aaaa hh:mm;t/h;kg\n" + rows)
    assert [(c.name, c.unit) for c in found.mapping.column] == [("Caudal", "t/h"), ("Masa", "kg")]
