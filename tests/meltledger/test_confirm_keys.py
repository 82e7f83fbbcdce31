"""Keys of a tag that a person still has to confirm, and how ``check`` lists it."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from meltledger.cli import root
from meltledger.config import load
from tests.meltledger.test_channel_keys import with_tag
from tests.meltledger.test_config import faults

NEUTRAL = "filter.melt_pressure_zones.p_3.pv"
CONFIRM = 'unit = "MPa", confirm = true, becomes = "filter.inlet.pressure.pv", text = "Druck vor Sieb"'


def written(tmp_path: Path, keys: str, path: str) -> Path:
    file = tmp_path / "line.toml"
    file.write_text(with_tag(keys, path), encoding="utf-8")
    return file


def test_what_is_to_be_confirmed_is_kept_under_its_neutral_name_in_its_own_unit(tmp_path: Path) -> None:
    tag = next(t for t in load(written(tmp_path, CONFIRM, NEUTRAL)).tags if t.path == NEUTRAL)
    assert (tag.unit, tag.text) == ("MPa", "Druck vor Sieb")


def test_check_lists_what_is_to_be_confirmed_with_its_line(tmp_path: Path) -> None:
    file = written(tmp_path, CONFIRM, NEUTRAL)
    line = next(n for n, text in enumerate(file.read_text().splitlines(), start=1) if NEUTRAL in text)
    done = CliRunner().invoke(root, ["check", str(file)], standalone_mode=False)
    assert done.return_value == 0
    assert "1 tag is to be confirmed" in done.output
    assert f'line {line}: {NEUTRAL} "Druck vor Sieb": is it filter.inlet.pressure.pv?' in done.output


@pytest.mark.parametrize(
    ("keys", "path", "said"),
    [
        (
            'unit = "MPa", confirm = true',
            "filter.inlet.pressure.pv",
            "is not kept as 'filter.inlet.pressure.pv'",
        ),
        ('unit = "MPa", becomes = "filter.inlet.pressure.pv"', NEUTRAL, "take out becomes"),
        ('confirm = true, becomes = "filter.inlet.pressure.pv"', NEUTRAL, "must say its unit"),
        ('unit = "MPa", confirm = true, becomes = "Filter"', NEUTRAL, "is not a tag path"),
        ('unit = "MPa", confirm = "yes please"', NEUTRAL, "confirm"),
    ],
)
def test_what_cannot_be_meant_is_told(tmp_path: Path, keys: str, path: str, said: str) -> None:
    told = faults(written(tmp_path, keys, path))
    assert any(said in f"{key} {text}" for _, key, text in told)


def test_a_confirmed_tag_keeps_its_text_beside_the_catalogues(tmp_path: Path) -> None:
    file = written(tmp_path, 'unit = "MPa", text = "Druck vor Sieb"', "filter.inlet.pressure.pv")
    tag = next(t for t in load(file).tags if t.path == "filter.inlet.pressure.pv")
    assert (tag.unit, tag.text) == ("bar", "melt pressure before the screen")
