"""The web application from outside: headers, health, what it must not give away, what it refuses."""

from __future__ import annotations

import json
import socket
import threading
from pathlib import Path
from typing import Any

import dash
import pytest

import dashboard
from dashboard.app import create_app, serve
from dashboard.errors import UnknownLine
from dashboard.graph import CONFIG, graph
from dashboard.palette import DARK, LIGHT
from historian.errors import OutsideWorldAway
from historian.frame import NS
from rules.entry import ActKind

from .conftest import END_NS, START_NS, SmallLine, plate_finding, raise_alarm

ASSETS = Path(dashboard.__file__).parent / "assets"
KEY = "heater-power|filter.plate.5"


@pytest.fixture(scope="module")
def app(full_line: SmallLine) -> dash.Dash:
    return create_app([full_line.reads()], clock=lambda: END_NS)


def callback(
    app: dash.Dash, output: str, inputs: dict[str, Any], states: dict[str, Any], changed: str
) -> Any:
    """Call the callback that fills an output, as the browser does."""
    name = next(n for n in app.callback_map if output in n)
    made = app.callback_map[name]

    def filled(specs: list[dict[str, Any]], values: dict[str, Any]) -> list[Any]:
        sent = []
        for spec in specs:
            given = values[f"{spec['id']}.{spec['property']}"]
            if str(spec["id"]).startswith("{"):
                sent.append([{"id": i, "property": spec["property"], "value": v} for i, v in given])
            else:
                sent.append({"id": spec["id"], "property": spec["property"], "value": given})
        return sent

    body = {
        "output": name,
        "outputs": [
            {"id": o.split(".")[0], "property": o.split(".")[1]} for o in name.strip(".").split("...")
        ]
        if name.startswith("..")
        else {"id": name.split(".")[0], "property": name.split(".")[1]},
        "inputs": filled(made["inputs"], inputs),
        "state": filled(made["state"], states),
        "changedPropIds": [changed],
    }
    return app.server.test_client().post("/_dash-update-component", json=body)


def quick(app: dash.Dash, what: str, id: dict[str, Any], who: Any = "ana", clicks: int = 1) -> Any:
    """Press a button of the live page."""
    inputs: dict[str, Any] = {
        '{"act":"seen","key":["ALL"]}.n_clicks': [],
        '{"mark":["ALL"]}.n_clicks': [],
        '{"text":["ALL"],"undo":["ALL"]}.n_clicks': [],
    }
    name = next(n for n in inputs if what in n)
    inputs[name] = [(id, clicks)]
    changed = json.dumps(id, sort_keys=True, separators=(",", ":")) + ".n_clicks"
    return callback(app, "said.children", inputs, {"who.value": who, "url.search": ""}, changed)


def test_health_is_503_before_data_flow_and_200_after(empty_line: SmallLine) -> None:
    now = [START_NS]
    client = create_app([empty_line.reads()], clock=lambda: now[0]).server.test_client()
    before = client.get("/healthz")
    assert (before.status_code, before.json["lines"]["pilot-2"]["text"]) == (503, "no data has arrived yet")
    empty_line.feed(0, 10)
    now[0] = START_NS + 20 * NS
    flows = client.get("/healthz")
    assert (flows.status_code, flows.json["flows"]) == (200, True)
    assert flows.json["lines"]["pilot-2"]["newest_age_s"] == 10.5
    now[0] = START_NS + 60 * NS
    assert client.get("/healthz").status_code == 503


@pytest.mark.parametrize(
    "path", ["/", "/trial", "/healthz", "/_dash-layout", "/_dash-dependencies", "/anything"]
)
def test_every_answer_trusts_this_server_alone(app: dash.Dash, path: str) -> None:
    headers = app.server.test_client().get(path).headers
    policy = dict(p.strip().split(" ", 1) for p in headers["Content-Security-Policy"].split(";"))
    assert policy["default-src"] == "'self'"
    assert policy["script-src"].startswith("'self' 'sha256-")
    assert "unsafe" not in policy["script-src"]
    assert policy["connect-src"] == "'self'"
    assert policy["object-src"] == policy["frame-ancestors"] == "'none'"
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert "http" not in headers["Content-Security-Policy"]


@pytest.mark.parametrize("path", ["/", "/trial", "/_dash-layout", "/_dash-dependencies"])
def test_the_page_itself_holds_no_data(app: dash.Dash, path: str) -> None:
    text = app.server.test_client().get(path).get_data(as_text=True)
    for told in ("pilot-2", "Lindental", "T-2031-07", "Plate 5", "bdata", "filter-plc", "SIMULATED"):
        assert told not in text


def test_nothing_on_the_page_comes_from_elsewhere(app: dash.Dash) -> None:
    text = app.server.test_client().get("/").get_data(as_text=True)
    assert "http://" not in text
    assert "https://" not in text.replace("https://dash-version.plotly.com", "")
    for file in (*ASSETS.glob("*.css"), *ASSETS.glob("*.js")):
        # The name of a namespace is no address: nothing is fetched from it.
        assert "://" not in file.read_text(encoding="utf-8").replace('"http://www.w3.org/2000/svg"', "")


def test_the_font_is_here_with_its_licence_and_small(app: dash.Dash) -> None:
    fonts = list((ASSETS / "fonts").glob("*.woff2"))
    assert 0 < sum(f.stat().st_size for f in fonts) < 200_000
    assert "SIL OPEN FONT LICENSE" in (ASSETS / "fonts" / "OFL.txt").read_text(encoding="utf-8")
    for font in fonts:
        with app.server.test_client().get(f"/assets/fonts/{font.name}") as answer:
            assert answer.status_code == 200
            assert font.name in (ASSETS / "ledger.css").read_text(encoding="utf-8")


def test_no_graph_can_send_its_data_away() -> None:
    assert CONFIG["showSendToCloud"] is False
    assert "sendChartToCloud" in CONFIG["modeBarButtonsToRemove"]
    assert graph("x", bar=True).config["showSendToCloud"] is False


def test_graphs_are_made_in_one_place_only() -> None:
    makers = [p.name for p in ASSETS.parent.rglob("*.py") if "dcc.Graph(" in p.read_text(encoding="utf-8")]
    assert makers == ["graph.py"]


def test_another_sites_page_cannot_act_here(app: dash.Dash, full_line: SmallLine) -> None:
    before = len(full_line.journal.acts_after(0))
    client = app.server.test_client()
    for headers in ({"Origin": "http://elsewhere.example"}, {"Sec-Fetch-Site": "cross-site"}):
        assert client.post("/_dash-update-component", json={}, headers=headers).status_code == 403
    assert len(full_line.journal.acts_after(0)) == before


def test_a_request_that_is_too_large_is_refused(app: dash.Dash) -> None:
    answer = app.server.test_client().post(
        "/_dash-update-component", data=b"x" * 1_100_000, content_type="application/json"
    )
    assert answer.status_code == 413


def test_seen_here_is_written(app: dash.Dash, full_line: SmallLine) -> None:
    answer = quick(app, "seen", {"act": "seen", "key": KEY})
    assert answer.status_code == 200
    act = full_line.journal.acts_after(0)[-1]
    assert (act.what, act.rule, act.subject, act.by, act.time_ns) == (
        ActKind.SEEN,
        "heater-power",
        "filter.plate.5",
        "ana",
        END_NS,
    )


def test_a_button_that_is_only_drawn_anew_does_nothing(app: dash.Dash, full_line: SmallLine) -> None:
    before = len(full_line.journal.acts_after(0))
    assert quick(app, "seen", {"act": "seen", "key": KEY}, clicks=0).status_code in (200, 204)
    assert len(full_line.journal.acts_after(0)) == before


@pytest.mark.parametrize(
    ("what", "id", "who", "words"),
    [
        ("seen", {"act": "seen", "key": "no-rule|nowhere"}, "ana", "does not stand any more"),
        ("seen", {"act": "seen", "key": "<script>alert(1)</script>"}, "ana", "does not stand any more"),
        ("mark", {"mark": "<script>"}, "ana", "no mark of that name"),
        ("undo", {"undo": 10**9, "text": "bale changed"}, "ana", "cannot be taken back"),
        ("mark", {"mark": "bale changed"}, "x" * 5000, "at most 40 characters"),
        ("mark", {"mark": "bale changed"}, {"$": 1}, "must be words"),
    ],
)
def test_what_the_page_does_not_offer_is_refused_with_words(
    app: dash.Dash, full_line: SmallLine, what: str, id: dict[str, Any], who: Any, words: str
) -> None:
    before = len(full_line.journal.acts_after(0))
    answer = quick(app, what, id, who)
    assert words in answer.json["response"]["said"]["children"]
    assert len(full_line.journal.acts_after(0)) == before


def shelve(app: dash.Dash, key: str, reason: Any, minutes: Any = 30) -> Any:
    """Press Shelve in the form."""
    return callback(
        app,
        "shelve-form.hidden",
        {
            '{"act":"shelve","key":["ALL"]}.n_clicks': [],
            "shelve-do.n_clicks": 1,
            "shelve-cancel.n_clicks": 0,
        },
        {
            "shelving.data": key,
            "shelve-reason.value": reason,
            "shelve-minutes.value": minutes,
            "who.value": "ana",
            "url.search": "",
        },
        "shelve-do.n_clicks",
    ).json["response"]


def test_shelving_is_written_with_its_reason(app: dash.Dash, full_line: SmallLine) -> None:
    answer = shelve(app, KEY, "electrician is on the way")
    assert answer["shelve-form"]["hidden"] is True
    act = full_line.journal.acts_after(0)[-1]
    assert (act.what, act.reason, act.until_ns) == (
        ActKind.SHELVE,
        "electrician is on the way",
        END_NS + 1800 * NS,
    )


@pytest.mark.parametrize(
    ("key", "reason", "minutes"),
    [
        (KEY, "", 30),
        (KEY, "x" * 900_000, 30),
        (KEY, "enough", 10**9),
        (KEY, "enough", None),
        ("", "enough", 30),
    ],
)
def test_a_shelf_that_will_not_do_is_refused(
    app: dash.Dash, full_line: SmallLine, key: str, reason: str, minutes: Any
) -> None:
    before = len(full_line.journal.acts_after(0))
    answer = shelve(app, key, reason, minutes)
    assert answer["shelve-refusal"]["children"]
    assert "shelve-form" not in answer or "hidden" not in answer["shelve-form"]
    assert len(full_line.journal.acts_after(0)) == before


def test_the_gravest_is_not_shelved_from_a_page_without_accounts(empty_line: SmallLine) -> None:
    from dataclasses import replace

    from rules.finding import Priority

    found = replace(plate_finding(at_ns=START_NS), priority=Priority.HIGH)
    raise_alarm(empty_line.journal, empty_line.cycle, found)
    app = create_app([empty_line.reads()], clock=lambda: START_NS + 5 * NS)
    assert "engineer" in shelve(app, KEY, "enough said")["shelve-refusal"]["children"]
    assert empty_line.journal.acts_after(0) == []


def poll(app: dash.Dash, shown: dict[str, int]) -> Any:
    return callback(
        app,
        "headline.children",
        {"poll.n_intervals": 1},
        {"paper.data": "light", "url.search": "", "shown.data": shown},
        "poll.n_intervals",
    ).json["response"]


def test_the_poll_sends_only_what_changed(app: dash.Dash) -> None:
    first = poll(app, {})
    assert first["headline"]["children"].startswith("Plate 5 is losing heat")
    assert len(first["figures"]["children"]) == 7
    assert first["cleanings"]["figure"]["data"]
    again = poll(app, first["shown"]["data"])
    assert set(again) == {"pulse", "shown", "no-cleanings"}
    changed = dict(first["shown"]["data"]) | {"zones": 1}
    assert set(poll(app, changed)) == {"pulse", "shown", "no-cleanings", "zones"}


def test_a_store_that_cannot_be_read_stops_the_beat_and_says_why(full_line: SmallLine) -> None:
    reads = full_line.reads()

    def away(now_ns: int) -> Any:
        raise OutsideWorldAway("/data/recent.db: the disk does not answer; check it")

    reads.live = away  # type: ignore[method-assign]
    answer = poll(create_app([reads], clock=lambda: END_NS), {})
    assert "the disk does not answer" in answer["headline"]["children"]
    assert set(answer) == {"headline"}


def test_lines_need_names_of_their_own(full_line: SmallLine) -> None:
    with pytest.raises(UnknownLine):
        create_app([], clock=lambda: 0)
    with pytest.raises(UnknownLine):
        create_app([full_line.reads(), full_line.reads()], clock=lambda: 0)


def test_an_address_that_is_taken_is_told(app: dash.Dash) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        with pytest.raises(OutsideWorldAway, match="another program"):
            serve(app, "127.0.0.1", taken.getsockname()[1])
    assert threading.active_count() < 50


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours. Source: WCAG 2.2, relative luminance and contrast ratio."""

    def luminance(colour: str) -> float:
        parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    bright, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (bright + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("colours", [LIGHT, DARK])
def test_words_and_lines_can_be_told_from_the_paper(colours: Any) -> None:
    assert contrast(colours.ink, colours.paper) >= 7
    assert contrast(colours.quiet, colours.paper) >= 4.5
    assert min(contrast(c, colours.paper) for c in colours.kinds.values()) >= 3
    assert min(contrast(c, colours.paper) for c in colours.bars) >= 3


def test_the_style_sheet_has_the_same_colours_as_the_pictures() -> None:
    style = (ASSETS / "ledger.css").read_text(encoding="utf-8").lower()
    for colours in (LIGHT, DARK):
        for colour in (colours.paper, colours.ink, colours.line, colours.quiet, *colours.bars[1:]):
            assert colour.lower() in style
