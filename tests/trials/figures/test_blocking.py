"""The verdict on the blocking law, from traces, in words."""

from __future__ import annotations

import numpy as np
import pytest

from process.blocking import Law, growth
from process.blocking_fit import BlockingFit
from process.cycles import cycles_of
from tests.support.made_traces import LENGTH_S, PERIOD_S, T0_NS, WINDOW, WIPE_S, cycles, line, trace, wiper
from trials.figures import Trace
from trials.figures.blocking import blocking_verdict, rises_of, words_of
from trials.figures.pressures import with_difference
from trials.figures.trace import NS

N = 0.5


def traces_of(law: Law, to: float) -> dict[str, Trace]:
    """Saw-teeth that follow a law, with a little noise."""
    phase = np.arange(LENGTH_S) % PERIOD_S
    rising = PERIOD_S - WIPE_S
    s = np.where(phase < rising, to * phase / rising, to * (1 - (phase - rising) / WIPE_S))
    dp = np.array([24 * growth(law, x, N) for x in s]) + np.random.default_rng(2).normal(0, 0.2, LENGTH_S)
    return line() | {"filter.inlet.pressure.pv": trace("filter.inlet.pressure.pv", 60 + dp)}


def verdict(traces: dict[str, Trace], exponent: float | None = N):
    time_ns = T0_NS + np.arange(LENGTH_S, dtype=np.int64) * NS
    dp = traces["filter.inlet.pressure.pv"].value - 60
    return blocking_verdict(traces, cycles_of(time_ns, dp, wiper()), WINDOW, exponent)


@pytest.mark.parametrize(
    ("law", "to", "words"),
    [
        (Law.CAKE, 0.9, "cake: dirt lies on the screen"),
        (Law.INTERMEDIATE, 0.65, "intermediate: dirt lies on the screen"),
        (Law.STANDARD, 0.75, "standard: dirt sits in the holes, wiping takes little of it"),
        (Law.COMPLETE, 0.75, "complete: dirt sits in the holes, wiping takes little of it"),
    ],
)
def test_each_law_is_named(law: Law, to: float, words: str):
    found = verdict(traces_of(law, to))
    assert found.words == words
    assert found.figure.value is not None and found.figure.standard_uncertainty is not None
    assert words in found.figure.remarks[1]


def test_the_rises_begin_after_the_outlet_is_shut_and_end_before_the_wiper_starts():
    rises = rises_of(with_difference(line()), cycles(), WINDOW)
    assert len(rises) == 13
    assert rises[0].dp_bar[0] == pytest.approx(24 + 21 * 20 / 218, abs=0.11)
    assert rises[0].dp_bar[-1] == pytest.approx(45, abs=0.11)
    assert rises[0].load[-1] == pytest.approx(780 / 3600 * (len(rises[0].load) - 1))


def test_a_feed_that_is_not_known_for_a_moment_runs_on():
    feed = np.full(LENGTH_S, 780.0)
    feed[300:320] = np.nan
    rises = rises_of(
        with_difference(line() | {"doser.rate.pv": trace("doser.rate.pv", feed)}), cycles(), WINDOW
    )
    assert np.allclose(np.diff(rises[0].load), 780 / 3600)


@pytest.mark.parametrize("lacking", ["doser.rate.pv", "filter.inlet.pressure.pv"])
def test_a_tag_that_is_not_there(lacking: str):
    traces = line()
    del traces[lacking]
    found = blocking_verdict(traces, cycles(), WINDOW, N)
    assert found.figure.value is None and "not recorded" in found.figure.absent
    assert found.words.startswith("not told apart: ")


@pytest.mark.parametrize(
    ("some", "windows", "exponent", "why"),
    [
        (cycles(), (), N, "no window"),
        (cycles(), WINDOW, None, "exponent is not told"),
        ([], WINDOW, N, "no complete cleaning"),
        (cycles()[:3], WINDOW, N, "2 cycles rise"),
    ],
    ids=["window", "exponent", "cleanings", "few"],
)
def test_why_there_is_no_verdict(some, windows, exponent, why: str):
    found = blocking_verdict(line(), some, windows, exponent)
    assert found.figure.value is None and why in found.figure.absent and why in found.words


def test_dark_pressures_and_no_feed_at_all_tell_nothing():
    for path in ("filter.inlet.pressure.pv", "doser.rate.pv"):
        dark = line() | {path: trace(path, np.nan)}
        assert blocking_verdict(dark, cycles(), WINDOW, N).figure.value is None


def test_the_words_of_laws_that_are_not_told_apart():
    both = BlockingFit(1.2, 0.9, 1.6, 0.2, 10, (Law.INTERMEDIATE, Law.STANDARD))
    assert words_of(both) == "not told apart: intermediate or standard"
    none = BlockingFit(-2, -3, -1, 0.2, 10, ())
    assert words_of(none) == "not told apart: the pressure rises unlike any of the laws"
    pair = BlockingFit(0.5, 0.4, 0.6, 0.2, 10, (Law.CAKE, Law.INTERMEDIATE))
    assert words_of(pair) == "cake or intermediate: dirt lies on the screen"
