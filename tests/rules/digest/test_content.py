"""The digest as people read it: a whole one word for word, a quiet one, and what must never be said."""

from __future__ import annotations

import json
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.digest import Digest, as_html, as_json, as_text, pictures_of, within
from rules.digest.as_html import beside
from rules.digest.content import PICTURES
from tests.rules.digest.told import EARLY, LATE, NIGHT, Told, a_full_digest, at

GOLDEN = Path(__file__).with_name("early_shift.txt")
WIDTH = 40
NEVER = re.compile(
    r"\bsafe\b|pressure-free|no pressure|isolated\b|is cold|may be opened(?! or run: that stands)|go on running|keep running",
    re.IGNORECASE,
)


class Page(HTMLParser):
    """What a page holds: tags, attributes that lead somewhere, and the text that a person sees."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.leads: list[str] = []
        self.text = ""
        self._hidden = False
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.leads += [v or "" for k, v in attrs if k in ("src", "href", "action", "background", "srcset")]
        assert not [k for k, _ in attrs if k.startswith("on")]
        self._hidden = tag in ("style", "title")

    def handle_endtag(self, tag: str) -> None:
        self._hidden = False

    def handle_data(self, data: str) -> None:
        if not self._hidden:
            self.text += f" {data}"

    @property
    def words(self) -> list[str]:
        return self.text.split()


def test_a_whole_digest_word_for_word() -> None:
    assert as_text(a_full_digest()) == GOLDEN.read_text(encoding="utf-8")


def test_the_page_says_what_the_text_says() -> None:
    digest = a_full_digest()
    page = " ".join(Page(as_html(digest)).words)
    for said in (
        "wiper, melt filter", "since 25 Nov 12:30+01:00, not found at the end", "Part number: HP-24-220",
        "Came back after repair of 23 Nov 15:00+01:00 (new cartridge).", "knives, pelletizer: done by A. Doe",
        "A consequence of heater-power, plate 5, melt filter.", "own output 100 %",
        "1 h 40 min, melt stands: cleaning-weak, wiper-stalled", "41 cleanings",
        "Nothing was recorded for 5 min: no rule could judge.", "8 h. Times of Europe/Madrid.",
    ):  # fmt: skip
        assert said in page, said


def test_the_json_holds_the_same() -> None:
    made = as_json(a_full_digest())
    assert json.loads(json.dumps(made, allow_nan=False)) == made
    assert [(i["part"], i["deadline"], i["came_back"]) for i in made["work"]] == [
        ("filter.wiper", "now", False),
        ("filter.plate.5", "next stop", True),
        ("filter.inlet.pressure", "this week", False),
    ]
    assert made["work"][1]["after_repair"]["by"] == "A. Doe"
    assert made["period"]["start_ns"] == EARLY.start_ns and made["period"]["s"] == 28_800
    assert made["not_seen"]["unrecorded_s"] == 300 and made["not_seen"]["rules_at_work"] == 46
    assert made["running_hours"][1] == {
        "part": "filter.wiper.blade",
        "hours": None,
        "since_ns": None,
        "more": "",
    }


def test_notes_bear_no_names() -> None:
    assert "B. Roe" not in as_text(a_full_digest()) + as_html(a_full_digest())


def test_a_quiet_shift_says_that_it_is_one_and_how_far_it_could_see() -> None:
    told = Told()
    told.blind(
        "heater-weak", "2026-11-25 09:00", "2026-11-25 09:30", "no current is measured", "filter.plate.3"
    )
    digest = told.digest()
    assert digest.is_quiet
    text = " ".join(as_text(digest).split())
    assert "Nothing was found by the 46 rules at work." in text
    assert "What they could not judge stands below: it is not known, not good." in text
    assert "30 min, no current is measured: heater-weak (plate 3, melt filter)" in text
    assert "Nothing was found" in as_html(digest)


def test_a_quiet_shift_in_which_all_could_be_judged_claims_no_more_than_that() -> None:
    text = " ".join(as_text(Told().digest()).split())
    assert "None of them told of a time in which it could not judge." in text
    assert "spells under two minutes are not told" in text and "good" not in text


def test_a_shift_without_record_is_not_a_quiet_one() -> None:
    digest = Told().digest(unrecorded=[(EARLY.start_ns, EARLY.end_ns)])
    text = " ".join(as_text(digest).split())
    assert (
        "Nothing was recorded in this time, so nothing could be found. How the line did is not known." in text
    )
    assert "Nothing was found by" not in text and "Nothing was recorded for 8 h" in text


def test_open_work_from_earlier_is_no_heartbeat() -> None:
    told = Told()
    told.spell("2026-11-25 08:00", "2026-11-25 08:30")
    text = as_text(told.digest(NIGHT))
    assert "plate 5" in text and "Nothing in this time" in text and "Nothing was found" not in text


@pytest.mark.parametrize("period", [EARLY, LATE, NIGHT])
def test_no_digest_says_that_a_machine_is_safe(period: object) -> None:
    from tests.rules.digest.told import a_day

    digest = a_day().digest(period)  # type: ignore[arg-type]
    flat = " ".join((as_text(digest) + as_html(digest)).split())
    assert not NEVER.search(flat)


def test_simulated_data_say_so() -> None:
    digest = Told().digest(simulated=True)
    assert "SIMULATED" in as_text(digest) and "Simulated" in as_html(digest) and as_json(digest)["simulated"]


def hostile(words: str) -> Digest:
    """A digest in which everything that comes from outside is this."""
    told = Told()
    told.spell("2026-11-25 08:00", None, sentence=words, advice=words, figures={words: (1.0, "bar")})
    told.spell("2026-11-25 08:00", None, subject=f"filter.{words}", rule=words)
    told.note("2026-11-25 09:00", words)
    told.repaired("2026-11-25 09:30", "filter.plate.1", by=words, text=words)
    told.shelved("2026-11-25 09:40", words, words, words)
    told.blind(words, "2026-11-25 09:00", "2026-11-25 10:00", words, words)
    return told.digest(line=words, number_of=lambda _: words, in_doubt=[words], not_judged={words: words})


@pytest.mark.parametrize(
    "words",
    [
        "<script>alert(1)</script>",
        '"><img src=//evil.example/x onerror=alert(1)>',
        "</table></body>&amp;",
        "' onload='x",
    ],
)
def test_whatever_people_and_machines_write_stays_text(words: str) -> None:
    page = Page(as_html(hostile(words), within({})))
    plain = Page(as_html(hostile("harmless"), within({})))
    assert page.tags == plain.tags and page.leads == plain.leads == []
    assert " ".join(words.split()) in " ".join(page.words)


def test_control_characters_reach_no_form() -> None:
    words = "a\x00b\x1b[31mc\u202ed\r\ne\x85f"
    for form in (as_text(hostile(words)), as_html(hostile(words))):
        assert not set(form) & set("\x00\x1b\u202e\r\x85")


def test_the_page_takes_nothing_from_elsewhere() -> None:
    digest = a_full_digest()
    keys = [w.key for w in pictures_of(digest)]
    page = Page(as_html(digest, within(dict.fromkeys(keys, b"png"))))
    assert len(keys) == len(page.leads) == page.tags.count("img") == 4
    assert all(lead.startswith("data:image/png;base64,") for lead in page.leads)
    assert not {"script", "link", "iframe", "form", "object", "video"} & set(page.tags)
    assert (
        "url(" not in as_html(digest) and "@import" not in as_html(digest) and "http" not in as_html(digest)
    )


def test_in_a_mail_pictures_are_beside_the_page() -> None:
    digest = a_full_digest()
    first = pictures_of(digest)[0].key
    assert Page(as_html(digest, beside({first: "p0.x@y"}))).leads == ["cid:p0.x@y"]


def test_pictures_are_of_the_work_first_and_not_too_many() -> None:
    told = Told()
    for n in range(1, 13):
        told.spell(f"2026-11-25 08:{n:02}", None, subject=f"filter.plate.{n}", onset="2026-11-25 07:50")
    wanted = pictures_of(told.digest())
    assert len(wanted) == len({w.key for w in wanted}) == PICTURES
    assert wanted[0].tags == ("filter.plate.1.temp.pv",)
    assert (wanted[0].start_ns, wanted[0].end_ns) == (at("2026-11-25 07:50"), at("2026-11-25 08:01"))


@given(st.text(min_size=1, max_size=200))
def test_no_line_of_the_text_is_wider_than_a_phone(words: str) -> None:
    digest = hostile(words)
    assert max(len(line) for line in as_text(digest).split("\n")) <= WIDTH


def test_times_on_a_night_of_two_offsets_tell_which() -> None:
    from rules.digest import SHIFT, Period

    night = Period(SHIFT, at("2026-10-24 22:00"), at("2026-10-25 06:00"))
    told = Told()
    told.spell("2026-10-24 23:00", "2026-10-25 05:00")
    text = " ".join(as_text(told.digest(night)).split())
    assert "Shift of 24 Oct 2026, 22:00+02:00 to 25 Oct 06:00+01:00, 9 h" in text
    assert "first 24 Oct 23:00+02:00, last 25 Oct 05:00+01:00" in text
