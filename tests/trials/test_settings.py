"""Changes of settings: what a tag shows, what a person adds, and what no tag shows."""

from __future__ import annotations

from historian.frame import NS
from trials.record.entries import Entry, What
from trials.segments import SettingChange
from trials.settings import NEAR_NS, settings_of

FEED = "doser.rate.sp"


def change(at_s: int, old: float, new: float, path: str = FEED) -> SettingChange:
    return SettingChange(at_s * NS, path, old, new, "kg/h")


def entry(id: int, at_s: int, what: str = FEED, **more: str) -> Entry:
    return Entry(id, 1, What.SETTING, at_s * NS, 0, "ada", {"what": what, "why": "foam", **more})


def test_a_reason_stands_with_the_nearest_change_of_its_tag() -> None:
    changes = [change(1000, 600, 640), change(1100, 640, 680), change(1100, 1, 2, "filter.wipe.dp.sp")]
    made = settings_of(changes, [entry(7, 1080)])
    assert [(s.what, s.before, s.after, s.why, s.by, s.entry) for s in made] == [
        (FEED, "600 kg/h", "640 kg/h", "", "", None),
        (FEED, "640 kg/h", "680 kg/h", "foam", "ada", 7),
        ("filter.wipe.dp.sp", "1 kg/h", "2 kg/h", "", "", None),
    ]


def test_two_reasons_go_to_two_changes() -> None:
    made = settings_of([change(1000, 600, 640), change(1100, 640, 680)], [entry(1, 1090), entry(2, 1095)])
    assert [s.entry for s in made] == [2, 1]


def test_what_no_tag_shows_stands_by_itself() -> None:
    valve = entry(3, 500, "vent valve", before="half", after="open")
    far = entry(4, 1000 + NEAR_NS // NS + 1)
    made = settings_of([change(1000, 600, 640)], [valve, far])
    assert [(s.what, s.found, s.before, s.after) for s in made] == [
        ("vent valve", False, "half", "open"),
        (FEED, True, "600 kg/h", "640 kg/h"),
        (FEED, False, "", ""),
    ]
