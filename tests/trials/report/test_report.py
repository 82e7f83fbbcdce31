"""Whole reports: twelve sections in three languages, from whole, empty and hostile trials."""

from __future__ import annotations

import re
from dataclasses import fields, is_dataclass, replace
from functools import cache
from html.parser import HTMLParser
from io import BytesIO
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from PIL import Image

from historian.frame import NS
from tests.trials.report.outcomes import PHOTO, at, entries, made, series, trial
from trials.outcome import Outcome
from trials.phases import KeptPhase
from trials.report import Made, Report, System, Wanted, as_html, as_pages, as_pdf, report_of, speech_of
from trials.report.content import Table
from trials.report.speech import THIN
from trials.report.spoken import LANGUAGES
from trials.settings import Setting

BERLIN = ZoneInfo("Europe/Berlin")
HOSTILE = '<script>alert(1)</script> #eval("x") $x^2$ @ref \\n "quoted" `raw` *bold* _low_ {brace} & {{x}} %s'
LONG = "W" * 300


def photo() -> bytes:
    out = BytesIO()
    Image.new("RGB", (400, 300), (120, 90, 60)).save(out, "JPEG")
    return out.getvalue()


@cache
def whole() -> Outcome:
    return made()


def report(outcome: Outcome, language: str = "en", system: System = System.METRIC, **wanted: Any) -> Report:
    return report_of(outcome, speech_of(language, BERLIN, system), Wanted(**wanted))


def texts(node: Any) -> list[str]:
    """Every text of a report, in order."""
    if isinstance(node, str):
        return [node]
    if isinstance(node, tuple):
        return [t for n in node for t in texts(n)]
    if is_dataclass(node):
        return [t for f in fields(node) for t in texts(getattr(node, f.name))]
    return []


def said(one: Report) -> str:
    return "\n".join(texts(one)).replace(THIN, " ")


def section(one: Report, number: int) -> str:
    return "\n".join(texts(one.sections[number - 1])).replace(THIN, " ")


class Strict(HTMLParser):
    """Refuses tags that are not closed in order; gathers what is read and what is named."""

    VOID = frozenset({"meta", "img", "br", "hr", "link"})

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.read: list[str] = []
        self.names: list[tuple[str, str | None]] = []
        self.seen: set[str] = set()
        self.ids: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen.add(tag)
        self.names += [a for a in attrs if a[0] in ("src", "href", "xlink:href", "action", "data", "style")]
        self.ids += [v for k, v in attrs if k == "id" and v]
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in self.VOID:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        assert self.open and self.open[-1] == tag, (tag, self.open[-3:])
        self.open.pop()

    def handle_data(self, data: str) -> None:
        self.read.append(data)


def parsed(page: str) -> Strict:
    one = Strict()
    one.feed(page)
    one.close()
    assert one.open == []
    return one


@pytest.mark.parametrize("language", LANGUAGES)
def test_twelve_sections_each_with_something_in_it(language: str) -> None:
    one = report(whole(), language)
    assert [s.number for s in one.sections] == list(range(1, 13))
    assert all(s.title and s.blocks for s in one.sections)
    assert not re.search(r"\{\w*\}", said(one))


def test_nothing_of_the_text_stays_in_english() -> None:
    words = ("the ", "not shown", "of the", "is not", "unknown", "pressure", "cleaning", "without")
    english = {w for e in entries() for w in texts(tuple(str(v) for v in e.data.values()))}
    for language in ("de", "es"):
        shown = said(report(whole(), language, made=Made()))
        for own in sorted(english, key=len, reverse=True):
            shown = shown.replace(own, "")
        shown = re.sub(
            r"note: text .*|Plate 3 draws no current\.|Pressure rises faster than before\.", "", shown
        )
        shown = re.sub(r"[a-z_]+(\.[a-z_0-9]+)+", "", shown)
        assert [w for w in words if w in shown] == []


def test_the_answer_says_what_was_reached() -> None:
    first = section(report(whole()), 1)
    assert (
        "PE-LD, film agglomerate, was filtered at 110 µm with 761 kg/h for 68 min in a steady condition"
        in first
    )
    assert "cleaned every 4.00 min, 2.12 % of the feed discharged" in first
    assert "Does it run at 110 um with 780 kg/h for an hour?" in first


def rows(one: Report, number: int) -> dict[str, tuple[str, ...]]:
    tables = [b for b in one.sections[number - 1].blocks if isinstance(b, Table)]
    return {r[0]: tuple(c.replace(THIN, " ") for c in r) for t in tables for r in t.rows}


def test_targets_are_judged_on_the_cover() -> None:
    found = rows(report(whole()), 1)
    assert found["Throughput"][1:3] == ("at least 750 kg/h", "761 kg/h")
    assert found["Throughput"][4] == "reached, without its uncertainty, which is not known"
    assert found["Melt temperature"][1:] == ("at most 215 °C", "(222 ± 2) °C", "4080", "not reached")
    assert found["Recovery"][4].startswith("not shown in this trial: the pressure over the clean screen")
    assert found["Taste"][4] == "not shown in this trial: there is no figure of this name"
    assert found["Specific energy"][4] == "not compared: the target is in a unit of another kind"
    assert found["Fineness of the screen"][4] == "as planned"


def test_an_absent_figure_says_why_and_has_no_number() -> None:
    one = report(made(without=("filter.discharge", "line.energy")))
    found = rows(one, 1)
    assert found["Discharged, of the feed"][2] == "–"
    assert found["Discharged, of the feed"][4] == "not shown in this trial: discharge scale is not recorded"
    assert "energy counter of the line is not recorded" in section(one, 9)


def test_a_trial_without_steady_time_prints_no_figure() -> None:
    one = report(made(steady=False))
    first = section(one, 1)
    assert "The line has not run in a steady condition" in first
    found = rows(one, 1)
    keys = ("Throughput", "Cleaning interval", "Melt temperature", "Specific energy", "Pellet moisture")
    assert [found[k][2] for k in keys] == ["–"] * 5
    assert all(found[k][4].startswith("not shown in this trial:") for k in keys)
    assert "There is no operating point" in section(one, 6)
    assert "Nothing is to be expected from a trial without steady time." in section(one, 11)
    assert as_pdf(one).startswith(b"%PDF-")


def test_a_trial_without_any_tag_is_a_report_of_reasons() -> None:
    one = report(made(samples={}, steady=False, written=[], judged=False))
    assert "Nothing was written down about the material." in section(one, 2)
    assert "No plan was written down." in section(one, 3)
    assert "No rules judged this trial" in section(one, 10)
    parsed(as_html(one))
    assert as_pdf(one).startswith(b"%PDF-")


def test_nothing_is_expected_outside_of_the_recommendation() -> None:
    one = report(whole())
    for number in range(1, 13):
        if number != 11:
            assert "expected" not in section(one, number), number
    # The median and the range are those of trials.scale_up.
    assert "0.52 kg/(h·cm²) are expected in production" in section(one, 11)
    assert (
        "For each 1000 kg/h of feed that is about 1900 cm² of screen, from 1400 cm² to 2700 cm²"
        in section(one, 11)
    )


def test_nothing_is_derived_from_indicative_figures() -> None:
    none = [e for e in entries() if e.what != "sample"]
    one = report(made(written=none))
    assert "These figures are indicative." in section(one, 1)
    assert "P1 is indicative" in section(one, 6)
    assert "no size is derived from them" in section(one, 11)
    assert "are expected" not in section(one, 11)


def test_without_the_flow_of_the_melt_no_size_is_derived() -> None:
    none = [e for e in entries() if e.what != "pre-analysis"]
    last = section(report(made(written=none)), 11)
    assert "From this trial no size of a screen is derived:" in last
    assert "The power-law exponent of the melt is not told" in last
    german = section(report(made(written=none), "de"), 11)
    assert "Der Fließexponent der Schmelze ist nicht angegeben" in german


def test_what_nobody_assessed_is_not_known() -> None:
    second = section(report(whole()), 2)
    assert "Not assessed by anybody, so not known: polyoxymethylene" in second
    assert "copper wire in a flame" in second


def test_a_trial_under_way_makes_an_interim_report() -> None:
    one = report(made(closed=False))
    assert one.interim.startswith(
        "Interim report: the trial is under way; state of 2027-01-15 13:00 UTC+01:00"
    )
    assert one.title == "Interim trial report T-2031-07"
    assert report(whole()).interim == ""


def test_it_is_no_statement_on_safety() -> None:
    shown = said(report(whole()))
    assert "It is no statement on the safety of machine or material" in shown
    for never in ("is safe", "pressure-free", "machine is cold", "may be opened"):
        assert never not in shown


def test_replicates_bounds_and_changes() -> None:
    one = report(whole())
    assert rows(one, 2)["Moisture"][1:3] == ("(0.440 ± 0.040) %", "2")
    assert "< 0.05 %" in section(one, 8)
    assert "in place of: note: text bale 7 smells" in section(one, 12)
    assert "2 min" in section(one, 10) and "A heater plate was out of use." in section(one, 10)


def test_units_of_the_united_states() -> None:
    shown = said(report(whole(), system=System.US))
    for metric in (" kg/h", " bar", " °C", " kWh/kg", " cm²"):
        assert not re.search(
            rf"{metric}\b", re.sub(r"780 kg/h for an hour|at most 45 bar|190 °C, [\d.]+ kg", "", shown)
        ), metric
    for wanted in ("(432 ± 4) °F", "1680 lb/h", "654 psi", "lb/(h·in²)"):
        assert wanted in shown, wanted


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_page_is_well_formed_and_needs_nothing_from_elsewhere(language: str) -> None:
    page = as_html(report(whole(), language, photos={PHOTO: photo()}))
    one = parsed(page)
    assert "script" not in one.seen and "iframe" not in one.seen and "link" not in one.seen
    for _, value in one.names:
        assert value is not None
        assert value.startswith(("#", "data:image/")) or (":" in value and "//" not in value), value
    assert "url(http" not in page and "@import" not in page
    assert f'lang="{language}"' in page
    assert len(one.ids) == len(set(one.ids))
    targets = {v[1:] for k, v in one.names if v and v.startswith("#")}
    assert targets <= set(one.ids)


def test_hostile_words_are_shown_as_they_are() -> None:
    head = trial(customer=HOSTILE, name=f"T {HOSTILE}")
    outcome = made(head=head, written=entries(polymer="PE <b>", question=HOSTILE, note=f"{HOSTILE} {LONG}"))
    one = report(outcome)
    page = as_html(one)
    read = "".join(parsed(page).read)
    assert HOSTILE in read and LONG in read and "PE <b>" in read
    assert "<script" not in page
    # Whatever meant something to the typesetter would stop it, or leave no pages.
    assert len(as_pages(one, ppi=20)) > 5


def test_the_pdf_is_whole_and_the_same_twice() -> None:
    one = report(whole(), "de", photos={PHOTO: photo()})
    first, second = as_pdf(one), as_pdf(report(made(), "de", photos={PHOTO: photo()}))
    assert first == second
    assert first.startswith(b"%PDF-") and first.rstrip().endswith(b"%%EOF")
    assert b"pdfaid" in first
    assert 5 < len(as_pages(one, ppi=20)) < 40
    assert len(first) < 5_000_000 and len(as_html(one)) < 5_000_000


def test_no_word_and_no_table_stands_beyond_the_margins() -> None:
    outcome = made(written=entries(note=f"{LONG} {'x.y' * 90}", question=LONG))
    for page in as_pages(report(outcome, "de"), ppi=50):
        with Image.open(BytesIO(page)) as opened:
            grey = opened.convert("L")
            edge = round(14 / 210 * grey.width)  # the margins are 18 mm
            for strip in ((0, 0, edge, grey.height), (grey.width - edge, 0, grey.width, grey.height)):
                assert grey.crop(strip).getextrema()[0] > 250


def test_settings_bear_their_reason_and_phases_the_hand_that_cut_them() -> None:
    outcome = replace(
        whole(),
        settings=(
            Setting(at(10_140), "doser.rate.sp", "780 kg/h", "700 kg/h", "pressure was high", "A. Doe"),
            Setting(at(10_200), "water tap", "", "half open", "", "A. Doe", found=False),
        ),
        phases=tuple(KeptPhase(p, p.name == "soak") for p in whole().timeline.phases),
        found_otherwise=(whole().timeline.phases[1],),
    )
    shown = section(report(outcome), 5)
    assert "Feed, set-point: 780 kg/h → 700 kg/h (pressure was high)" in shown
    assert "Water tap: – → half open, by hand" in shown
    assert "Soak, set by hand" in shown and "Heat-up, set by hand" not in shown
    assert "Since the phases were cut by hand, some are found otherwise" in shown
    assert "1720 lb/h → 1543 lb/h (pressure" in section(report(outcome, system=System.US), 5)


def test_a_photograph_that_is_not_there_is_named() -> None:
    assert "Photograph not at hand: screen S-17 (screen.jpg" in section(report(whole()), 7)
    assert "Photograph not at hand" not in said(report(whole(), photos={PHOTO: photo()}))


def test_where_it_was_made_is_told_in_the_appendix() -> None:
    last = section(report(whole(), made=Made("1.2.3", 1_800_100_000 * NS, "ab" * 32, "folder x")), 12)
    for part in ("meltledger 1.2.3", "ab" * 32, "folder x", "2027-01-16"):
        assert part in last


def test_many_windows_and_samples_make_no_long_picture() -> None:
    much = series(noise=2.0)
    assert len(as_html(report(made(samples=much)))) < 900_000


def test_where_the_record_holds_a_code_name_only_the_first_page_has_that() -> None:
    coded = replace(whole(), trial=replace(whole().trial, customer="", code_name="heron"))
    cover = report(coded).sections[0]
    rows = {r[0]: r[1] for b in cover.blocks if isinstance(b, Table) for r in b.rows if len(r) == 2}
    assert rows["Customer"] == "heron"
