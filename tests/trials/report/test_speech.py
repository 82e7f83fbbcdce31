"""Numbers, units and times in three languages."""

from __future__ import annotations

from dataclasses import replace
from zoneinfo import ZoneInfo

import pytest

from historian.errors import WrongInput
from historian.frame import NS
from rules.review import Window
from trials.figures import Figure
from trials.report.speech import THIN, Speech
from trials.report.spoken import LANGUAGES, speech_of
from trials.report.units import System

BERLIN = ZoneInfo("Europe/Berlin")
SUMMER_NS = 1_784_000_000 * NS  # 2026-07-14 03:33:20 UTC
FIGURE = Figure("melt", 221.6, "Cel", (Window(0, 1),), "", 0.9)


def plain(text: str) -> str:
    return text.replace(THIN, " ")


def test_decimal_signs_and_thin_spaces() -> None:
    en, de, es = (speech_of(language, BERLIN) for language in LANGUAGES)
    assert plain(en.number(0.246, "kW.h/kg")) == "0.246 kWh/kg"
    assert plain(de.number(0.246, "kW.h/kg")) == "0,246 kWh/kg"
    assert plain(es.number(-12_345.6, "kg/h")) == "−12 300 kg/h"
    assert plain(en.number(4_556_000, "/m")) == "4.56 · 10⁶ 1/m"
    assert plain(de.count(14_400)) == "14 400"


def test_a_figure_bears_its_uncertainty() -> None:
    say = speech_of("de", BERLIN)
    assert plain(say.figure(FIGURE)) == "(222 ± 2) °C"
    assert plain(say.figure(FIGURE, with_unit=False)) == "222 ± 2"
    assert plain(say.figure(replace(FIGURE, standard_uncertainty=None))) == "222 °C"
    large = replace(FIGURE, value=5.3312e6, unit="/m", standard_uncertainty=1e5)
    assert plain(say.figure(large)) == "(5,33 ± 0,20) · 10⁶ 1/m"
    assert say.figure(replace(FIGURE, value=None, absent="gone", standard_uncertainty=None)) == "–"
    assert say.figure(replace(FIGURE, value=3.0, unit="1", standard_uncertainty=None)) == "3"


def test_uncertainties_of_temperatures_are_differences() -> None:
    say = speech_of("en", BERLIN, System.US)
    assert plain(say.figure(FIGURE)) == "(431 ± 4) °F"
    assert plain(say.told(220, "Cel")) == "428 °F"
    assert plain(say.told(1607, "/min")) == "1607 1/min"


def test_times_are_those_of_the_site_with_their_offset() -> None:
    en, de, es = (speech_of(language, BERLIN) for language in LANGUAGES)
    assert en.moment(SUMMER_NS) == "2026-07-14 05:33 UTC+02:00"
    assert de.moment(SUMMER_NS) == "14.07.2026 05:33 UTC+02:00"
    assert es.span(SUMMER_NS, SUMMER_NS + 3600 * NS) == "14/07/2026 05:33–06:33 UTC+02:00"
    assert (
        en.span(SUMMER_NS, SUMMER_NS + 86_400 * NS)
        == "2026-07-14 05:33 UTC+02:00 – 2026-07-15 05:33 UTC+02:00"
    )


def test_the_hour_that_comes_twice_shows_both_offsets() -> None:
    before, after = 1_792_886_400 * NS, 1_792_893_600 * NS  # 2026-10-25 00:00 and 02:00 UTC
    say = speech_of("en", BERLIN)
    assert say.windows([Window(before, after)]) == "2026-10-25 02:00 UTC+02:00 – 2026-10-25 03:00 UTC+01:00"


def test_windows_of_one_day_name_it_once() -> None:
    say = Speech(zone=BERLIN)
    two = [Window(SUMMER_NS, SUMMER_NS + 600 * NS), Window(SUMMER_NS + 1200 * NS, SUMMER_NS + 1800 * NS)]
    assert say.windows(two) == "2026-07-14 05:33–05:43, 05:53–06:03 UTC+02:00"
    assert say.windows([]) == "–"


@pytest.mark.parametrize(
    ("seconds", "text"), [(40, "40 s"), (2700, "45 min"), (9000, "150 min"), (33_300, "9 h 15 min")]
)
def test_lengths(seconds: float, text: str) -> None:
    assert plain(Speech().length(seconds)) == text


def test_several() -> None:
    de = speech_of("de", BERLIN)
    forms = ("{count} further tag was recorded.", "{count} further tags were recorded.")
    assert de.several(*forms, 1) == "1 weitere Messstelle wurde aufgezeichnet."
    assert de.several(*forms, 2) == "2 weitere Messstellen wurden aufgezeichnet."


def test_an_unknown_language_is_refused() -> None:
    with pytest.raises(WrongInput, match="en, de, es"):
        speech_of("tlh", BERLIN)
