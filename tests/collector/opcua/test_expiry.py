"""A certificate's end is said thirty days ahead, once a day."""

from __future__ import annotations

from collector.opcua.certificate import DAY_NS, day
from collector.opcua.expiry import ExpiryWatch, expiry_text
from tests.support.certificates import signed

PAPER = signed(to_day=365).facts
END = PAPER.ends_ns
PAPERS = [("our own certificate", PAPER)]


def test_thirty_days_ahead_and_with_the_date() -> None:
    assert expiry_text("our own certificate", PAPER, END - 30 * DAY_NS - 1) is None
    said = expiry_text("our own certificate", PAPER, END - 30 * DAY_NS)
    assert said is not None and day(END) in said and "in 30 days" in said and PAPER.thumbprint[:16] in said
    over = expiry_text("our own certificate", PAPER, END + 1)
    assert over is not None and "already" in over


def test_once_a_day_each() -> None:
    other = signed("other", to_day=364).facts
    watch = ExpiryWatch("filter-plc")
    start = END - 20 * DAY_NS
    papers = [*PAPERS, ("the server's certificate", other)]
    told = [
        (step, event.text) for step in range(72) for event in watch.due(papers, start + step * DAY_NS // 24)
    ]
    assert [step for step, _ in told] == [0, 0, 24, 24, 48, 48]
    assert "our own certificate" in told[0][1] and "the server's certificate" in told[1][1]
    (event, _) = ExpiryWatch("filter-plc").due(papers, start)
    assert (event.kind, event.source) == ("certificate-expires", "filter-plc")
    assert event.data["ends_ns"] == END and "Remedy: " in event.text


def test_a_renewed_one_is_quiet_and_a_clock_that_was_set_back_silences_none() -> None:
    watch = ExpiryWatch("filter-plc")
    assert watch.due(PAPERS, END - DAY_NS)
    assert watch.due([("our own certificate", signed("renewed").facts)], END - 200 * DAY_NS) == []
    assert watch.due(PAPERS, END - 20 * DAY_NS)
