"""Customers' files: read with clear errors, real names kept from others, agreed time held against retention."""

from __future__ import annotations

from pathlib import Path

import pytest

from historian.archive.manifest import DAY_NS
from historian.errors import WrongInput
from historian.retention import EVER_NS
from meltledger.config import LineConfig, load
from meltledger.customers import (
    check_comparable,
    coded,
    customers_file,
    held_windows,
    read_customers,
    read_names,
)
from meltledger.errors import LineFileWrong
from tests.meltledger.test_config import GOOD
from trials.record import Trial


@pytest.fixture
def config(tmp_path: Path) -> LineConfig:
    (tmp_path / "line.toml").write_text(GOOD, encoding="utf-8")
    read = load(tmp_path / "line.toml")
    read.folder.mkdir()
    return read


def test_without_a_register_all_is_as_it_was(config: LineConfig) -> None:
    assert read_customers(config) is None
    assert coded(config, "Real Ltd", "heron") == ("Real Ltd", "heron")
    assert read_names(config) == {}


def test_an_unknown_key_is_told_with_file_line_and_the_nearest(config: LineConfig) -> None:
    customers_file(config).write_text('[customer.heron]\nkeep = "400d"\ntunes = "own"\n', encoding="utf-8")
    with pytest.raises(LineFileWrong, match=r"customers\.toml:3: customer\.heron\.tunes: .*'tune'"):
        read_customers(config)


def test_real_names_are_refused_where_others_can_read_them(config: LineConfig) -> None:
    path = customers_file(config).with_name("customer-names.toml")
    path.write_text('[name]\nheron = "Real Ltd"\n', encoding="utf-8")
    path.chmod(0o644)
    with pytest.raises(WrongInput, match="chmod 600"):
        read_names(config)
    path.chmod(0o600)
    assert read_names(config) == {"heron": "Real Ltd"}


def test_retention_holds_what_is_under_way_or_agreed(config: LineConfig) -> None:
    customers_file(config).write_text('[customer.heron]\nkeep = "10d"\n[customer.wren]\n', encoding="utf-8")
    trials = [
        Trial(1, "a", "", "heron", 0, DAY_NS),
        Trial(2, "b", "", "wren", DAY_NS, 2 * DAY_NS),
        Trial(3, "c", "", "heron", 2 * DAY_NS, 3 * DAY_NS),
        Trial(4, "d", "", "", 3 * DAY_NS, None),
    ]
    assert held_windows(config, trials, 11 * DAY_NS) == [
        (2 * DAY_NS, 3 * DAY_NS),
        (3 * DAY_NS, EVER_NS),
    ]
    assert held_windows(config, trials, 11 * DAY_NS - 1)[0] == (0, DAY_NS)
    # Nothing goes on the word of a file that cannot be read.
    customers_file(config).write_text("[customer.heron\n", encoding="utf-8")
    assert len(held_windows(config, trials, 10**18)) == 4


def test_trials_are_set_side_by_side_only_where_it_is_agreed(config: LineConfig) -> None:
    two = [Trial(1, "a", "", "heron", 0, 1), Trial(2, "b", "", "wren", 1, 2)]
    check_comparable(config, two)  # nobody keeps a register
    customers_file(config).write_text(
        '[customer.heron]\ncompare = "across"\n[customer.wren]\n', encoding="utf-8"
    )
    check_comparable(config, two[:1])
    with pytest.raises(WrongInput, match="wren: no comparison") as told:
        check_comparable(config, two)
    assert "heron:" not in str(told.value)
    customers_file(config).write_text(
        '[customer.heron]\ncompare = "across"\n[customer.wren]\ncompare = "across"\n', encoding="utf-8"
    )
    check_comparable(config, two)
