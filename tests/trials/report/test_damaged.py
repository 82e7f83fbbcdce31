"""Whatever is wrong with a trial, its report is made: it has twelve sections and says why a figure is absent."""

from __future__ import annotations

from collections.abc import Callable
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from historian.frame import Series
from tests.trials.report.outcomes import at, entries, made, series, trial
from trials.outcome import Outcome
from trials.record.entries import Entry, What
from trials.report import Report, as_html, as_pages, report_of, speech_of
from trials.report.content import Table

BERLIN = ZoneInfo("Europe/Berlin")


def changed(value: Callable[[Series], np.ndarray]) -> dict[str, Series]:
    return {p: Series.of(s.time_ns, value(s), s.quality) for p, s in series().items()}


def one_sample() -> dict[str, Series]:
    return {p: Series.of(s.time_ns[7000:7001], s.value[7000:7001], 0) for p, s in series().items()}


DAMAGED: dict[str, Callable[[], dict[str, Series]]] = {
    "dark": lambda: changed(lambda s: np.full(len(s.value), np.nan)),
    "zero": lambda: changed(lambda s: s.value * 0),
    "negative": lambda: changed(lambda s: -s.value),
    "huge": lambda: changed(lambda s: s.value * 1e11),
    "bad": lambda: {p: Series.of(s.time_ns, s.value, 0x80000000) for p, s in series().items()},
    "one sample": one_sample,
    "holes": lambda: {p: Series.of(s.time_ns[::400], s.value[::400], 0) for p, s in series().items()},
}


def report(outcome: Outcome, language: str = "en") -> Report:
    return report_of(outcome, speech_of(language, BERLIN))


@pytest.mark.parametrize("kind", DAMAGED)
def test_damaged_samples(kind: str) -> None:
    one = report(made(samples=DAMAGED[kind]()), "es")
    assert len(one.sections) == 12 and all(s.blocks for s in one.sections)
    page = as_html(one)
    assert ">nan" not in page and ">inf" not in page
    assert len(as_pages(one, ppi=15)) > 5


def test_nothing_thrown_at_a_dark_trial_is_a_number() -> None:
    one = report(made(samples=DAMAGED["dark"]()))
    (table,) = [b for b in one.sections[0].blocks if isinstance(b, Table) and b.head]
    for row in table.rows:
        # The screen was told, and the laboratory has measured: neither needs a signal.
        assert row[2] == "–" or row[0] in ("Fineness of the screen", "Pellet moisture"), row
        assert row[2] != "–" or row[4].startswith("not shown in this trial:"), row


def test_what_was_written_before_the_start_is_no_event_of_the_trial() -> None:
    early = Entry(90, 1, What.SAMPLE, at(-3600), at(0), "A. Doe", {"name": "early bird"})
    one = report(made(written=[*entries(), early]))
    assert "early bird" not in str(one.sections[4])
    assert "early bird" in str(one.sections[11])


def test_a_trial_of_two_sittings_tells_each() -> None:
    acts = [(0, "begin"), (7800, "end"), (7900, "begin")]
    told = [
        Entry(80 + n, 1, What.SITTING, at(t), at(t), "A. Doe", {"act": act})
        for n, (t, act) in enumerate(acts)
    ]
    one = report(made(written=[*entries(), *told]))
    shown = str(one.sections[5])
    assert "Sitting 1" in shown and "Sitting 2" in shown and "by sitting" in shown
    assert "Sittings" in str(one.sections[0])


def test_a_trial_over_midnight_names_the_days() -> None:
    outcome = made()
    say = speech_of("de", ZoneInfo("Asia/Tokyo"))  # 17:00 to 21:00 there
    assert "15.01.2027 17:00–21:00 UTC+09:00" in report_of(outcome, say).subtitle
    late = report_of(outcome, speech_of("de", ZoneInfo("Pacific/Auckland")))
    assert "15.01.2027 21:00 UTC+13:00 – 16.01.2027 01:00 UTC+13:00" in late.subtitle
    assert "16.01.2027 00:" in str(late.sections[4])


def test_a_trial_without_a_code_name_bears_the_customers() -> None:
    head = trial()
    head = type(head)(head.id, head.name, head.customer, "", head.start_ns, head.end_ns)
    assert report(made(head=head)).running[1] == head.customer
