"""What answers mean, without a server."""

from __future__ import annotations

import itertools
from collections.abc import Callable

import numpy as np
import pytest

from historian import NS, StoredDataDamaged
from historian.influx.answers import Complaint, CutShort, Table, frames_in, series_in, tables_in
from historian.influx.lines import Numbered, frame_lines
from historian.quality import BAD, NO_DATA, UNCERTAIN
from tests.historian.influx.texts import answer_of, frame_of

DAMAGE: dict[str, Callable[[str], str]] = {
    "changed": lambda body: "AAAA" + body[4:],
    "no base64": lambda body: "ä" + body[1:],
    "short": lambda body: body[:40],
}


@pytest.mark.parametrize("kind", DAMAGE)
def test_a_damaged_frame_is_told(kind: str) -> None:
    table = answer_of(frame_lines([Numbered(5, 100, frame_of([(1, 2, 3.0, 0)]))], "l"))
    spoilt = Table({}, {**table.columns, "body": [DAMAGE[kind](b) for b in table.columns["body"]]})
    with pytest.raises(StoredDataDamaged, match="here, frame 5"):
        list(frames_in([spoilt], where="here"))


_arrivals = itertools.count(1)


def piece(values: list[list[object]], clock: str = "0", **more: object) -> dict[str, object]:
    series = {"name": "sample", "tags": {"path": "water.flow.pv", "clock": clock}, **more}
    columns = ["time", "quality", "form", "value", "held", "number"]
    values = [[*row, next(_arrivals)] for row in values]
    return {"results": [{"statement_id": 0, "series": [{**series, "columns": columns, "values": values}]}]}


def test_pieces_are_joined_and_clock_epochs_stand_in_order_of_arrival_none_of_them_sure() -> None:
    one = piece([[1, 0, 1, 10, None]], partial=True)
    two = piece([[5, 0, 1, 50, None]])
    other = piece([[5, NO_DATA, 0, None, None], [6, BAD, 4, None, 60.5]], clock="1")
    tables = tables_in([other, one, two])  # the server's order of series is not the order of arrival
    series = series_in(tables)["water.flow.pv"]
    assert series.time_ns.tolist() == [1, 5, 5, 6]
    np.testing.assert_array_equal(series.value, [10.0, 50.0, np.nan, 60.5])
    assert series.quality.tolist() == [0, UNCERTAIN, NO_DATA, BAD]


def test_at_equal_times_the_order_of_arrival_counts_not_that_of_clock_epochs() -> None:
    first, second = piece([[5, 0, 1, 2.0, None]], clock="10"), piece([[5, 0, 1, 1.0, None]], clock="9")
    assert series_in(tables_in([second, first]))["water.flow.pv"].value.tolist() == [2.0, 1.0]


def test_an_answer_that_is_cut_short_is_not_taken_for_whole() -> None:
    with pytest.raises(CutShort):
        list(tables_in([piece([[1, 0, 1, 10, None]], partial=True)]))
    with pytest.raises(Complaint, match="database not found"):
        list(tables_in([{"results": [{"statement_id": 0, "error": "database not found: x"}]}]))
    with pytest.raises(Complaint, match="timeout"):
        list(tables_in([piece([[1, 0, 1, 10, None]]), {"error": "timeout"}]))


def test_times_do_not_pass_through_floats() -> None:
    odd = 1_760_000_000 * NS + 1
    tables = tables_in([piece([[odd, 0, 1, 1, None], [odd + 1, 0, 1, 1, None]])])
    assert series_in(tables)["water.flow.pv"].time_ns.tolist() == [odd, odd + 1]
