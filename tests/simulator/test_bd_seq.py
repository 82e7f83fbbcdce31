"""The number of a connection over restarts."""

from __future__ import annotations

from pathlib import Path

import pytest

from historian.errors import StoredDataDamaged, StoreReadOnly
from simulator.bd_seq import read_bd_seq, write_bd_seq
from simulator.sparkplug.node import EdgeNode
from tests.support.few_tags import T0_NS, TAGS


def test_a_number_that_is_none_and_a_folder_that_is_none_are_told(tmp_path: Path) -> None:
    (tmp_path / "bad").write_text("256\n")
    with pytest.raises(StoredDataDamaged, match="bad: '256' is no number from 0 to 255; delete the file"):
        read_bd_seq(tmp_path / "bad")
    with pytest.raises(StoreReadOnly, match="name another file"):
        write_bd_seq(tmp_path / "none" / "file", 1)
    assert read_bd_seq(tmp_path / "new") == -1
    write_bd_seq(tmp_path / "new", 255)
    assert read_bd_seq(tmp_path / "new") == 255
    assert (
        EdgeNode("g", "n", TAGS, last_bd_seq=255).death(T0_NS).payload
        == EdgeNode("g", "n", TAGS).death(T0_NS).payload
    )
