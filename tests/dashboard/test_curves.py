"""Outlines with their gaps and doubts."""

from __future__ import annotations

import numpy as np

from dashboard.curves import Asked, holes, row_of, rows_asked, site_ms
from historian.catalogue import canonical_tag
from historian.envelope import Envelope
from historian.frame import NS
from historian.quality import NO_COMMUNICATION, UNCERTAIN

T0 = 1_777_874_400 * NS


def outline(seconds: list[float], values: list[float], quality: list[int] | None = None) -> Envelope:
    times = np.array([T0 + int(s * NS) for s in seconds], dtype=np.int64)
    return Envelope(
        times,
        np.array(values, dtype=np.float64),
        np.array(quality or [0] * len(values), dtype=np.uint32),
        len(values),
    )


def in_seconds(found: list[tuple[int, int, str]]) -> list[tuple[float, float, str]]:
    return [((a - T0) / NS, (b - T0) / NS, why) for a, b, why in found]


def test_a_bad_sample_begins_a_hole_that_names_its_reason() -> None:
    seen = outline([0, 1, 2, 60, 61], [1, 2, np.nan, 3, 4], [0, 0, NO_COMMUNICATION, 0, 0])
    assert in_seconds(holes(seen, (T0, T0 + 62 * NS), 90 * NS)) == [(2.0, 60.0, "source lost")]


def test_silence_is_a_hole_too_within_and_at_the_end() -> None:
    seen = outline([0, 60, 200], [1, 2, 3])
    assert in_seconds(holes(seen, (T0, T0 + 400 * NS), 90 * NS)) == [
        (60.0, 200.0, "silent"),
        (200.0, 400.0, "silent"),
    ]
    assert holes(seen, (T0, T0 + 210 * NS), 150 * NS) == []


def test_a_signal_that_was_never_good_is_one_hole() -> None:
    seen = outline([5, 6], [np.nan, np.nan], [NO_COMMUNICATION] * 2)
    assert in_seconds(holes(seen, (T0, T0 + 10 * NS), 90 * NS)) == [(5.0, 10.0, "source lost")]


def test_a_silent_stretch_breaks_the_line() -> None:
    asked = Asked("Torque", "%", (("extruder.drive.torque.pv", "drive", "torque", False),))
    seen = outline([0, 60, 200], [1, 2, 3])
    row = row_of(
        asked, {"extruder.drive.torque.pv": seen}, (T0, T0 + 210 * NS), 500, 7_200_000, "Europe/Madrid"
    )
    curve = row.curves[0]
    assert np.isnan(curve.value).tolist() == [False, False, True, False]
    assert np.all(np.diff(curve.time_ms) >= 0)
    assert [g.text for g in row.gaps] == ["no data 08:01–08:03 (silent)"]
    assert row.gaps[0].start_ms == T0 / 1e6 + 60_000 + 7_200_000


def test_gaps_of_one_lost_source_are_one() -> None:
    paths = [f"filter.plate.{n}.temp.pv" for n in range(1, 6)]
    asked = Asked("Plates", "Cel", tuple((p, p[13], "plate", False) for p in paths))
    outlines = {
        p: outline([0, 10 + i, 50, 51], [1, np.nan, 2, 3], [0, NO_COMMUNICATION, 0, 0])
        for i, p in enumerate(paths)
    }
    row = row_of(asked, outlines, (T0, T0 + 60 * NS), 500, 0, "UTC")
    assert [g.text for g in row.gaps] == ["no data 06:00–06:00 (source lost)"]


def test_doubted_points_are_marked() -> None:
    asked = Asked("Torque", "%", (("extruder.drive.torque.pv", "drive", "torque", False),))
    seen = outline([0, 1, 2], [1, 2, 3], [0, UNCERTAIN, 0])
    row = row_of(asked, {"extruder.drive.torque.pv": seen}, (T0, T0 + 3 * NS), 500, 0, "UTC")
    assert row.curves[0].uncertain.tolist() == [False, True, False]


def test_rows_follow_the_lines_tags() -> None:
    paths = ["filter.inlet.pressure.pv", "filter.outlet.pressure.pv", "filter.plate.2.temp.pv"]
    rows = rows_asked({p: canonical_tag(p) for p in paths})
    assert [r.title for r in rows] == ["Melt pressure", "Pressure difference", "Plate temperatures"]
    assert rows_asked({}) == ()


def test_site_time_is_exact_to_the_microsecond() -> None:
    at_ns = np.array([T0 + 1_234_567_000], dtype=np.int64)
    assert site_ms(at_ns, 3_600_000)[0] * 1000 == (T0 + 1_234_567_000) // 1000 + 3_600_000_000
