"""Sentences of the figures are found again and said in another language, whatever is missing of a trial."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest

from tests.support.made_traces import WINDOW, cycles, line
from tests.trials.report.outcomes import made
from trials.figures import Facts, Figure, OperatingPoint, operating_point
from trials.figures.trace import Trace
from trials.outcome.together import nothing_steady
from trials.report.names import name_of_figure, name_of_path
from trials.report.retold import knows, retold
from trials.report.spoken import speech_of
from trials.report.units import System

DE = speech_of("de", ZoneInfo("UTC"))
OWN = {"P5", "P95"}


def points() -> list[OperatingPoint]:
    """As many trials with something missing as there are tags, and some more."""
    traces = line()
    found = [p.figures for p in made().points]
    found += [nothing_steady(made(steady=False)), operating_point(traces, cycles(), WINDOW, Facts(), [])]
    found += [
        operating_point({}, [], WINDOW, Facts()),
        operating_point(traces, [], WINDOW, Facts(planned_kg_h=780)),
    ]
    facts = made().points[0].facts
    for path in traces:
        for cut in (
            lambda t: t[:0],
            lambda t: t[:2],
            lambda t: t[: len(t) * 6 // 10],
            lambda t: t[::-1][:900][::-1],
        ):
            one = traces[path]
            less = {**traces, path: Trace.of(path, cut(one.time_ns), cut(one.value), one.calibration)}
            found.append(operating_point(less, cycles(), WINDOW, facts, []))
        found.append(
            operating_point(
                {**traces, path: Trace.of(path, traces[path].time_ns, traces[path].value * 0)},
                cycles(),
                WINDOW,
                facts,
                [],
            )
        )
        found.append(
            operating_point({p: t for p, t in traces.items() if p != path}, cycles(), WINDOW, facts, [])
        )
    return found


POINTS = points()


def figures() -> list[Figure]:
    return [f for p in POINTS for f in p.figures]


def test_every_sentence_of_a_figure_is_known() -> None:
    said = {s for f in figures() for s in (f.absent, f.method, *f.remarks) if s}
    said |= {s for p in POINTS for s in (*p.indicative, p.blocking.words)}
    assert sorted(s for s in said if not knows(s)) == []
    assert len(said) > 150


def test_every_sentence_is_another_one_in_german() -> None:
    said = {s for f in figures() for s in (f.absent, f.method, *f.remarks) if s}
    assert [s for s in said if retold(s, DE) == s] == []
    assert not [s for s in said if " the " in retold(s, DE) or "{" in retold(s, DE)]


def test_every_figure_has_a_name_in_german() -> None:
    names = {f.name for f in figures()}
    same = {n for n in names if name_of_figure(n, DE) == n}
    assert same == set()


@pytest.mark.parametrize(
    ("text", "german"),
    [
        (
            "filter.dp.calc is known for 12 % of the window only",
            "Druckdifferenz am Sieb ist nur für 12 % des Zeitfensters bekannt",
        ),
        ("the die pressure is below 2.5 bar", "der Düsendruck liegt unter 2,50\u202fbar"),
        ("Of doser and product scale.", "Aus Dosierung und Produktwaage."),
        ("not told apart: cake or standard", "nicht unterscheidbar: Kuchen oder Standard"),
        (
            "No uncertainty is stated: none is known of doser.rate.pv, own.tag.",
            "Keine Unsicherheit angegeben; unbekannt ist sie für: Aufgabe; own.tag.",
        ),
        ("a sentence that nobody knows", "a sentence that nobody knows"),
    ],
)
def test_parts_are_said_as_well(text: str, german: str) -> None:
    assert retold(text, DE) == german


def test_quantities_are_said_in_the_readers_units() -> None:
    us = speech_of("en", ZoneInfo("UTC"), System.US)
    text = retold("the throughput of 12 kg/h is below 156 kg/h", us)
    assert text == "the throughput of 26.5\u202flb/h is below 344\u202flb/h"


def test_a_tag_without_a_name_keeps_its_path() -> None:
    assert name_of_path("own.mixer.7.speed.pv", DE) == "own.mixer.7.speed.pv"
    assert name_of_path("filter.plate.12.temp.pv", DE) == "Temperatur, Filterplatte 12"
