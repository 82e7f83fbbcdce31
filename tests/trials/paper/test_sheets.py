"""Paper: whole in itself, hostile words shown as they are, a code on every label."""

from __future__ import annotations

import re
from xml.etree import ElementTree as ET

import segno

from trials.paper.code import Code, Kind
from trials.paper.sheets import Sheet, labels_html, run_sheet_html

SHEET = Sheet(
    12, "day <script>1", "heron", "line & one", "Does it run at <110 um>?", [("filter.temp.sp", "230 Cel")]
)


def parsed(page: str) -> ET.Element:
    body = page.removeprefix("<!doctype html>").replace('<meta charset="utf-8">', "")
    return ET.fromstring(body)


def test_every_label_has_its_code_as_a_picture_and_to_be_read() -> None:
    codes = [Code(12, kind, n) for kind in (Kind.SAMPLE, Kind.BAG) for n in range(1, 15)]
    page = parsed(labels_html(SHEET, codes))
    text = "".join(page.itertext())
    assert all(code.shown in text for code in codes)
    pages = [e for e in page.iter("div") if e.get("class") == "labels"]
    assert [len(p) for p in pages] == [24, 4]
    assert page.find(".//{http://www.w3.org/2000/svg}svg") is not None or page.find(".//svg") is not None


def test_the_picture_holds_the_code() -> None:
    code = Code(12, Kind.SAMPLE, 7)
    wanted = segno.make_qr(code.text, error="m", boost_error=False).svg_inline(border=2, omitsize=True)
    assert wanted in labels_html(SHEET, [code])
    assert wanted not in labels_html(SHEET, [Code(12, Kind.SAMPLE, 8)])


def test_labels_do_not_show_the_trials_own_name() -> None:
    assert "script" not in labels_html(SHEET, [Code(12, Kind.BAG, 1)])


def test_the_run_sheet_asks_for_tare_and_gross_and_shows_what_is_planned() -> None:
    page = run_sheet_html(SHEET)
    text = "".join(parsed(page).itertext())
    for wanted in (
        "day <script>1",
        "line & one",
        "<110 um>",
        "230 Cel",
        "tare kg",
        "gross kg",
        "crossed out",
    ):
        assert wanted in text
    assert Code(12).shown in text


def test_nothing_is_fetched_from_elsewhere_and_no_script_runs() -> None:
    for page in (run_sheet_html(SHEET), labels_html(SHEET, [Code(12, Kind.BAG, 1)])):
        assert "<script" not in page
        assert not re.search(r"(src|href)=|url\(|@import", page)
