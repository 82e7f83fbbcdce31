"""Jobs are done, whoever does them; one that fails is told and the others go on."""

from __future__ import annotations

import os

import pytest

from historian.errors import WrongInput
from meltledger.backtesting.crew import Way, crew, way_for


def halved(number: int) -> float:
    """Half of it; 13 brings bad luck, 0 takes the process with it."""
    if number == 13:
        raise ZeroDivisionError("thirteen")
    if number == 0:
        os._exit(7)
    return number / 2


@pytest.mark.parametrize("way", ["turns", "processes", "dask"])
def test_each_job_is_done_once_and_a_failing_one_is_told(way: Way) -> None:
    jobs = [4, 13, 6]
    with crew(way, 2) as those:
        done = sorted(those.do(halved, jobs), key=lambda d: d.number)
    assert [(d.number, d.result) for d in done] == [(0, 2.0), (1, None), (2, 3.0)]
    assert isinstance(done[1].error, ZeroDivisionError)
    assert [d.error for d in done[::2]] == [None, None]


def test_a_worker_that_dies_is_told_too() -> None:
    with crew("processes", 1) as those:
        (done,) = those.do(halved, [0])
    assert done.result is None
    assert "terminated abruptly" in str(done.error)


@pytest.mark.parametrize(
    ("jobs", "scheduler", "asked", "way"),
    [
        (1, None, None, "turns"),
        (2, None, None, "dask"),
        (1, "tcp://a:8786", None, "dask"),
        (1, "tcp://a:8786", "dask", "dask"),
        (9, None, "processes", "processes"),
        (9, None, "turns", "turns"),
    ],
)
def test_which_way_is_taken(jobs: int, scheduler: str | None, asked: Way | None, way: Way) -> None:
    assert way_for(jobs, scheduler, asked) == way


def test_a_scheduler_is_for_dask_only() -> None:
    with pytest.raises(WrongInput, match="leave one of them out"):
        way_for(2, "tcp://a:8786", "turns")


def test_an_address_that_is_none_is_wrong_input() -> None:
    with pytest.raises(WrongInput, match="tcp://host:8786"), crew("dask", 1, "nonsense://a:1"):
        pass
