"""The languages of a report: where their catalogues lie, and a speech of each."""

from __future__ import annotations

import gettext
from functools import lru_cache
from importlib.resources import files
from typing import Final
from zoneinfo import ZoneInfo

from historian.errors import WrongInput
from trials.report.catalogue import translations
from trials.report.speech import Speech
from trials.report.units import System

LANGUAGES: Final = ("en", "de", "es")


def speech_of(language: str, zone: ZoneInfo, system: System = System.METRIC) -> Speech:
    """A speech in one of the languages.

    Raises:
        WrongInput: there is no catalogue of that language; naming those that there are.
        StoredDataDamaged: its catalogue cannot be read.
    """
    if language not in LANGUAGES:
        raise WrongInput(f"there is no report in '{language[:20]}'; there is: {', '.join(LANGUAGES)}")
    return Speech(language, _catalogue(language), system, zone)


def catalogue_text(language: str) -> str:
    """A language's catalogue as it is written."""
    return (files("trials.report") / "catalogues" / f"{language}.po").read_text(encoding="utf-8")


@lru_cache(maxsize=8)
def _catalogue(language: str) -> gettext.NullTranslations:
    if language == "en":
        return gettext.NullTranslations()
    return translations(catalogue_text(language), f"{language}.po")
