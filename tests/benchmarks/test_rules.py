"""The area is found, and its page is not written from small data."""

from __future__ import annotations

import importlib

import pytest

from benchmarks import rules_detection
from benchmarks.rules_detection import Table, page
from benchmarks.rules_plain import LIMIT, Z_SCORE
from rules.backtest import score, summary
from tests.rules.backtest.made import fault, record, said

entry = importlib.import_module("benchmarks.__main__")


def test_the_area_is_found() -> None:
    assert entry.measure_of("rules") is not None


def test_small_data_do_not_go_into_the_page() -> None:
    with pytest.raises(SystemExit):
        rules_detection.main(["--quick", "--write-docs"])


def test_the_page_sets_the_rules_beside_the_plain_ways() -> None:
    ours = summary([score(record(said()), [fault()])])
    none = summary([score(record(), [fault()])])
    text = page(Table(1, ours, {LIMIT: none, Z_SCORE: none}))
    assert "| B1 | 1 | 1 | 70 s | 0 | – | 0 | – |" in text
    assert "begin at 5000" in text and "no promise" in text
