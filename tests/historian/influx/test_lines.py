"""Frames and tags as line protocol."""

from __future__ import annotations

import math
import re

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from historian import Frame, Tag
from historian.influx.answers import frames_in
from historian.influx.lines import Numbered, escaped, frame_lines, sample_lines, tag_lines
from historian.influx.questions import text
from historian.quality import BAD
from tests.historian.influx.texts import answer_of, frame_of, samples

PATHS = {1: "water.flow.pv", 2: "water.level.pv"}


_LINE = re.compile(
    r"sample,clock=(\d+),line=l,path=(\S+) (?:(value|held)=(\S+?),)?arrival=(-?\d+)i,form=(\d)i,number=(\d+)i,quality=(\d+)i (-?\d+)"
)


@given(st.lists(st.tuples(samples, st.integers(0, 1)), min_size=1, max_size=4))
def test_lines_say_what_the_samples_are_and_the_last_write_of_a_double_stays(
    lots: list[tuple[list[tuple[int, int, float, int]], int]],
) -> None:
    frames = [frame_of(rows, arrival_ns=number, epoch=epoch) for number, (rows, epoch) in enumerate(lots)]
    wanted: dict[tuple[str, int, int], tuple[float, int, int, int]] = {}
    for count, frame in enumerate(frames, 5):
        for row in zip(frame.tag, frame.time_ns, frame.value, frame.quality, strict=True):
            wanted[PATHS[int(row[0])], frame.clock_epoch, int(row[1])] = (
                float(row[2]),
                int(row[3]),
                frame.arrival_ns,
                count,
            )
    found = {}
    lines = sample_lines([Numbered(n, n, frame) for n, frame in enumerate(frames, 5)], "l", PATHS)
    for line in lines:
        match = _LINE.fullmatch(line)
        assert match, line
        epoch, path, name, number, arrival, form, count_, quality, time_ns = match.groups()
        value = {"0": math.nan, "2": math.inf, "3": -math.inf}.get(form)
        assert (name is None) == (value is not None)
        assert name == {"1": "value", "4": "held"}.get(form)
        found[path, int(epoch), int(time_ns)] = (
            float(number) if value is None else value,
            int(quality),
            int(arrival),
            int(count_),
        )
    assert len(lines) == len(found)
    assert repr(sorted(found.items())) == repr(sorted(wanted.items()))


@given(samples)
def test_no_value_of_a_bad_sample_is_a_value(rows: list[tuple[int, int, float, int]]) -> None:
    for line in sample_lines([Numbered(1, 1, frame_of(rows))], "l", PATHS):
        bad = int(line.split("quality=")[1].split("i")[0]) & BAD
        assert not (bad and "value=" in line)


@given(samples)
def test_a_frame_comes_back_from_its_points(rows: list[tuple[int, int, float, int]]) -> None:
    frame = frame_of(rows, arrival_ns=99, epoch=3)
    ((number, key_ns, found),) = frames_in(
        [answer_of(frame_lines([Numbered(5, 100, frame)], "l"))], where="here"
    )
    assert (number, key_ns, found.arrival_ns, found.clock_epoch) == (5, 100, 99, 3)
    for column in ("tag", "time_ns", "value", "quality"):
        np.testing.assert_array_equal(getattr(found, column), getattr(frame, column))


def large(number: int) -> Numbered:
    n = 20_000
    noise = np.random.default_rng(number).normal(size=n)
    return Numbered(number, number, Frame.of(np.ones(n), np.arange(n), noise, np.zeros(n), arrival_ns=number))


def test_no_text_is_longer_than_a_field_takes_and_a_part_that_lacks_ends_the_answer() -> None:
    lines = frame_lines([large(1), large(2)], "l")
    assert len(lines) > 4
    assert max(len(line) for line in lines) < 64 * 1024
    assert [f.number for f in frames_in([answer_of(lines)], where="here")] == [1, 2]
    assert [f.number for f in frames_in([answer_of(lines[:-1])], where="here")] == [1]
    assert list(frames_in([answer_of(lines[:1])], where="here")) == []


def test_names_are_escaped() -> None:
    assert escaped("pilot 2, a=b") == "pilot\\ 2\\,\\ a\\=b"
    assert text("it's \\ here") == "'it\\'s \\\\ here'"
    (line,) = tag_lines([Tag("water.flow.pv", "m3/h", text='a "b" \\', id=4)], "my line", 9)
    assert line.startswith('tag,line=my\\ line,path=water.flow.pv body="{\\"path\\"')
    assert line.endswith(",number=4i 9")
