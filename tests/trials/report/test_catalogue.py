"""Catalogues: read as gettext reads them, whole, and with the same parts as the source's messages."""

from __future__ import annotations

import gettext
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from historian.errors import StoredDataDamaged
from tests.trials.report.messages import messages
from trials.report.catalogue import messages_of, translations
from trials.report.spoken import LANGUAGES, catalogue_text

TRANSLATED = [language for language in LANGUAGES if language != "en"]
SAME = {
    "n",
    "Material",
    "Plan",
    "Name",
    "Sensor",
    "Zone",
    "Phase",
    "Polymer",
    "Filtration",
    "alarms",
    "metal",
    "Metall",
}


@pytest.mark.parametrize("language", TRANSLATED)
def test_every_message_of_the_source_is_translated_and_no_other(language: str) -> None:
    known = {k for k in messages_of(catalogue_text(language), language) if k}
    assert known == set(messages())


@pytest.mark.parametrize("language", TRANSLATED)
def test_a_translation_has_the_same_parts(language: str) -> None:
    for message, text in messages_of(catalogue_text(language), language).items():
        if message:
            forms, said = message.split("\0"), text.split("\0")
            assert len(forms) == len(said), message
            for form, one in zip(forms, said, strict=True):
                assert sorted(re.findall(r"\{\w*\}", form)) == sorted(re.findall(r"\{\w*\}", one)), message
                assert (form[:1].isspace() == one[:1].isspace() and form[-1:] == one[-1:]) or form[
                    -1:
                ] not in ".:", message


@pytest.mark.parametrize("language", TRANSLATED)
def test_hardly_a_message_is_left_in_english(language: str) -> None:
    found = messages_of(catalogue_text(language), language)
    same = [m for m, text in found.items() if m == text and re.sub(r"\{\w+\}|\W|\d", "", m)]
    assert len(same) < 12, same


@pytest.mark.parametrize("language", TRANSLATED)
@pytest.mark.skipif(shutil.which("msgfmt") is None, reason="needs msgfmt (Debian: apt install gettext)")
def test_it_says_what_a_compiled_catalogue_says(language: str, tmp_path: Path) -> None:
    po, mo = tmp_path / "one.po", tmp_path / "one.mo"
    po.write_text(catalogue_text(language), encoding="utf-8")
    subprocess.run(["msgfmt", "--check-format", "-o", mo, po], check=True)
    with mo.open("rb") as file:
        compiled = gettext.GNUTranslations(file)
    ours = translations(catalogue_text(language), language)
    for message in messages():
        one, _, many = message.partition("\0")
        if many:
            for count in (0, 1, 2, 5):
                assert ours.ngettext(one, many, count) == compiled.ngettext(one, many, count)
        else:
            assert ours.gettext(one) == compiled.gettext(one)


def test_long_quoted_fuzzy_and_empty_entries() -> None:
    po = (
        'msgid ""\nmsgstr "Content-Type: text/plain; charset=UTF-8\\n"\n\n'
        '# a comment\nmsgid "one "\n"two"\nmsgstr "eins \\"zwei\\""\n'
        'msgid "close by"\nmsgstr "nah"\n\n'
        '#, fuzzy\nmsgid "doubtful"\nmsgstr "zweifelhaft"\n\nmsgid "nothing"\nmsgstr ""\n'
    )
    found = messages_of(po, "x.po")
    assert {k: v for k, v in found.items() if k} == {"one two": 'eins "zwei"', "close by": "nah"}
    assert translations(po, "x.po").gettext("one two") == 'eins "zwei"'
    assert translations(po, "x.po").gettext("doubtful") == "doubtful"


def test_a_damaged_catalogue_names_its_line() -> None:
    with pytest.raises(StoredDataDamaged, match=r"x\.po, line 2"):
        messages_of('msgid "a"\nmsgstr b\n', "x.po")
