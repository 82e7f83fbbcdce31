"""Both pages in a real browser, on a line that is fed every second by another process."""

from __future__ import annotations

import json
import re
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from selenium import webdriver
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.support.ui import WebDriverWait

from rules.entry import Act, ActKind
from rules.journal import Journal
from scripts.screenshots import FLAGS

from .conftest import fill_line, open_line

pytestmark = pytest.mark.browser
WAIT_S = 30


@dataclass
class Served:
    """A running server and its line's folder."""

    url: str
    folder: Path
    process: subprocess.Popen[bytes]

    def acts(self) -> list[Act]:
        """The acts in the journal."""
        journal = Journal.open(self.folder / "journal.db", mode="read")
        try:
            return journal.acts_after(0)
        finally:
            journal.close()


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    folder = tmp_path_factory.mktemp("served")
    line = open_line(folder)
    fill_line(line)
    line.close()
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    script = Path(__file__).with_name("served_line.py")
    with (folder / "log").open("wb") as log:
        process = subprocess.Popen(
            [sys.executable, str(script), str(folder), str(port)], stdout=log, stderr=log
        )
        made = Served(f"http://127.0.0.1:{port}", folder, process)
        try:
            until(lambda: healthy(made.url), WAIT_S)
            yield made
        finally:
            process.kill()
            process.wait()


def healthy(url: str) -> bool:
    try:
        with urllib.request.urlopen(f"{url}/healthz", timeout=5) as answer:
            return bool(answer.status == 200)
    except (urllib.error.URLError, OSError) as error:
        if isinstance(error, urllib.error.HTTPError):
            error.close()
        return False


def until(holds: Callable[[], Any], seconds: float) -> Any:
    """Ask until it holds; the last answer, or a failure that says how long was waited."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        answer = holds()
        if answer:
            return answer
        time.sleep(0.1)
    raise AssertionError(f"not within {seconds} s")


@pytest.fixture(scope="module")
def driver(tmp_path_factory: pytest.TempPathFactory) -> Iterator[webdriver.Chrome]:
    options = webdriver.ChromeOptions()
    options.binary_location = "/usr/bin/chromium"
    for flag in (*FLAGS, "--window-size=1920,1080", f"--user-data-dir={tmp_path_factory.mktemp('profile')}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    made = webdriver.Chrome(options=options, service=Service("/usr/bin/chromedriver"))
    yield made
    made.quit()


def all_of(driver: webdriver.Chrome, selector: str) -> list[Any]:
    return driver.find_elements(By.CSS_SELECTOR, selector)


def words(driver: webdriver.Chrome, selector: str) -> str:
    """The words of an element, though it may be drawn anew just now."""
    return str(
        driver.execute_script("return document.querySelector(arguments[0])?.innerText ?? ''", selector)
    )


def press(driver: webdriver.Chrome, text: str) -> None:
    """Press the button with these words."""
    find = "return [...document.querySelectorAll('button')].find(b => b.innerText.trim() === arguments[0])"
    WebDriverWait(driver, WAIT_S).until(lambda d: d.execute_script(find, text))
    driver.execute_script(
        f"({find.replace('return ', 'function(){return ')}}}).apply(null, arguments).click()", text
    )


def open_live(driver: webdriver.Chrome, served: Served) -> None:
    driver.get(served.url + "/")
    until(lambda: len(all_of(driver, "#figures .figure")) == 7 and all_of(driver, ".alarm"), WAIT_S)


def open_trial(driver: webdriver.Chrome, served: Served, search: str = "") -> None:
    driver.get(f"{served.url}/trial{search}")
    until(lambda: len(all_of(driver, "#ledger .scatterlayer .trace")) > 10, WAIT_S)


def nothing_wrong(driver: webdriver.Chrome, served: Served) -> None:
    """No severe word on the console, and no request to another host."""
    severe = [e["message"] for e in driver.get_log("browser") if e["level"] == "SEVERE"]
    assert not severe, "\n".join(severe)
    asked = [json.loads(e["message"])["message"] for e in driver.get_log("performance")]
    urls = [m["params"]["request"]["url"] for m in asked if m["method"] == "Network.requestWillBeSent"]
    assert urls
    assert [u for u in urls if u.startswith(("http", "ws")) and not u.startswith(served.url)] == []


def test_the_line_now_shows_what_it_must(driver: webdriver.Chrome, served: Served) -> None:
    open_live(driver, served)
    assert words(driver, "#headline").startswith("Plate 5 is losing heat")
    assert "kg/h" in words(driver, "#figure-throughput")
    assert "|" in words(driver, "#figure-pressures")
    assert "plate 5" in words(driver, "#figure-zone")
    assert words(driver, "#band") == "SIMULATED"
    until(lambda: len(all_of(driver, "#cleanings .bars .point")) == 24, WAIT_S)
    assert "Not a safety function" in words(driver, ".foot")
    assert "waiting for scale at opc.tcp://10.0.4.22:4840: next try in 4 s" in words(driver, ".foot")
    until(lambda: len(all_of(driver, ".machine .sparkline")) > 15, WAIT_S)
    nothing_wrong(driver, served)


def test_digits_are_as_large_as_the_wall_needs(driver: webdriver.Chrome, served: Served) -> None:
    open_live(driver, served)
    size = driver.execute_script(
        "return parseFloat(getComputedStyle(document.querySelector('.digits')).fontSize)"
    )
    wide = driver.execute_script("return window.innerWidth")
    # 25 mm on a screen 1210 mm wide; a digit is 0.668 em high.
    assert size * 0.668 == pytest.approx(25 / 1210 * wide, rel=0.01)


def test_the_band_stays_in_sight_when_the_page_is_scrolled(driver: webdriver.Chrome, served: Served) -> None:
    open_live(driver, served)
    until(lambda: all_of(driver, ".machine .sparkline"), WAIT_S)
    driver.execute_script("window.scrollTo(0, document.body.scrollHeight)")
    box = driver.execute_script(
        "const b = document.querySelector('#band').getBoundingClientRect(); return [b.top, b.width]"
    )
    assert driver.execute_script("return window.scrollY") > 0
    assert box == [0, driver.execute_script("return document.documentElement.clientWidth")]


def test_the_page_lives(driver: webdriver.Chrome, served: Served) -> None:
    open_live(driver, served)
    before = words(driver, "#site-clock")
    until(lambda: words(driver, "#site-clock") != before, 5)
    assert driver.execute_script("return document.documentElement.dataset.link ?? ''") == ""


def test_every_target_is_large_enough_for_a_thumb(driver: webdriver.Chrome, served: Served) -> None:
    for open_page in (open_live, open_trial):
        open_page(driver, served)
        small = driver.execute_script(
            "return [...document.querySelectorAll('button, nav a, .button, .who input')]"
            ".filter(b => b.offsetParent && !b.closest('.modebar'))"
            ".filter(b => { const r = b.getBoundingClientRect(); return r.height < 48 || r.width < 48 })"
            ".map(b => b.outerHTML)"
        )
        assert small == []


def test_seen_here_reaches_the_journal(driver: webdriver.Chrome, served: Served) -> None:
    open_live(driver, served)
    assert "the machine's own alarm is not touched" in words(driver, ".alarm")
    assert "unseen" in all_of(driver, ".alarm")[0].get_attribute("class")
    press(driver, "Seen here")
    act = until(lambda: [a for a in served.acts() if a.what is ActKind.SEEN], 5)[0]
    assert (act.rule, act.subject) == ("heater-power", "filter.plate.5")
    until(lambda: "seen: noted" in words(driver, ".alarm"), 5)
    nothing_wrong(driver, served)


def test_a_shelf_needs_a_reason_and_escape_leaves_the_form(driver: webdriver.Chrome, served: Served) -> None:
    open_live(driver, served)
    until(lambda: "Shelve" in words(driver, ".alarm"), 30)
    press(driver, "Shelve")
    until(lambda: all_of(driver, "#shelve-form:not([hidden])"), 5)
    until(lambda: driver.execute_script("return document.activeElement.id") == "shelve-reason", 5)
    all_of(driver, "#shelve-do")[0].click()
    until(lambda: "Say why" in words(driver, "#shelve-refusal"), 5)
    ActionChains(driver).send_keys(Keys.ESCAPE).perform()
    until(lambda: all_of(driver, "#shelve-form[hidden]"), 5)
    assert not [a for a in served.acts() if a.what is ActKind.SHELVE]
    press(driver, "Shelve")
    until(lambda: all_of(driver, "#shelve-form:not([hidden])"), 5)
    all_of(driver, "#shelve-reason")[0].send_keys("electrician <b>comes</b>")
    all_of(driver, "#shelve-do")[0].click()
    act = until(lambda: [a for a in served.acts() if a.what is ActKind.SHELVE], 5)[0]
    assert (act.reason, act.until_ns) == ("electrician <b>comes</b>", act.time_ns + 1800 * 10**9)
    until(lambda: all_of(driver, "#shelve-form[hidden]"), 5)
    nothing_wrong(driver, served)


def test_a_mark_is_set_and_taken_back(driver: webdriver.Chrome, served: Served) -> None:
    open_live(driver, served)
    press(driver, "Bale changed")
    until(lambda: "bale changed" in words(driver, "#marked"), 5)
    press(driver, "Undo")
    until(lambda: "bale changed" not in words(driver, "#marked"), 5)
    marks = [a.text for a in served.acts() if a.what is ActKind.MARK]
    assert marks == ["bale changed", "taken back: bale changed"]


def test_the_trial_is_drawn_with_lanes_and_rows(driver: webdriver.Chrome, served: Served) -> None:
    open_trial(driver, served)
    text = words(driver, "#ledger")
    for title in (
        "Phases",
        "Settings",
        "Alarms",
        "Cleanings",
        "Notes and marks",
        "Melt pressure",
        "Plate outputs",
    ):
        assert title in text
    assert "Europe/Madrid (UTC+2)" in text
    assert "lot 7 <b>in</b>" in text
    assert "T-2031-07" in words(driver, "#trial-title")
    titles = [b.get_attribute("data-title") for b in all_of(driver, ".modebar-btn")]
    assert titles
    assert not [t for t in titles if "share" in t.lower() or "cloud" in t.lower()]
    nothing_wrong(driver, served)


def test_a_zoom_asks_the_store_and_can_be_linked(driver: webdriver.Chrome, served: Served) -> None:
    open_trial(driver, served)
    before = words(driver, "#trial-sentence")
    sheet = all_of(driver, "#ledger .nsewdrag")[-1]
    half = sheet.size["width"] // 2
    chain = ActionChains(driver).move_to_element_with_offset(sheet, -half // 2, 0).click_and_hold()
    chain.move_by_offset(half // 2, 2).move_by_offset(half // 2, 2).release().perform()
    until(lambda: words(driver, "#trial-sentence") not in ("", before), 15)
    assert re.search(r"\((90|91) min\)", words(driver, "#trial-sentence"))
    link = all_of(driver, "#trial-link")[0].get_attribute("href")
    zoomed = words(driver, "#trial-sentence")
    assert "?from=2026-05-04T" in link
    open_trial(driver, served, link.split("/trial")[1])
    until(lambda: words(driver, "#trial-sentence") == zoomed, 15)
    press(driver, "Whole trial")
    until(lambda: "(3 h" in words(driver, "#trial-sentence"), 15)
    nothing_wrong(driver, served)


def test_why_opens_the_evidence(driver: webdriver.Chrome, served: Served) -> None:
    open_trial(driver, served)
    press(driver, "Why")
    until(lambda: "below set point" in words(driver, "#evidence"), 10)
    assert "7.4 K" in words(driver, "#evidence")
    assert "shift leader's decision" in words(driver, "#evidence")
    driver.execute_script("document.querySelector('#evidence a.button').click()")
    until(lambda: "(20 min)" in words(driver, "#trial-sentence"), 15)
    nothing_wrong(driver, served)


def test_a_click_on_the_bar_opens_the_evidence_too(driver: webdriver.Chrome, served: Served) -> None:
    open_trial(driver, served)
    bars = "return [...document.querySelectorAll('#ledger .barlayer .trace')].at(-1).querySelector('.point path')"
    bar = driver.execute_script(bars)
    ActionChains(driver).move_to_element(bar).pause(0.3).click().perform()
    until(lambda: "below set point" in words(driver, "#evidence"), 10)


def test_an_address_that_makes_no_sense_is_told_and_the_trial_shown(
    driver: webdriver.Chrome, served: Served
) -> None:
    open_trial(driver, served, "?from=<script>alert(1)</script>&to=now")
    until(lambda: "is no time" in words(driver, "#trial-refusal"), 10)
    assert "T-2031-07" in words(driver, "#trial-title")


def test_dark_paper_follows_the_system_and_the_switch(driver: webdriver.Chrome, served: Served) -> None:
    def paper() -> str:
        return str(driver.execute_script("return getComputedStyle(document.body).backgroundColor"))

    dark = [{"name": "prefers-color-scheme", "value": "dark"}]
    driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": dark})
    open_trial(driver, served)
    assert paper() == "rgb(22, 25, 29)"
    press(driver, "Light or dark")
    until(lambda: paper() == "rgb(246, 244, 239)", 5)
    driver.execute_script("window.localStorage.clear()")
    driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})


def test_the_buttons_are_reached_by_keyboard(driver: webdriver.Chrome, served: Served) -> None:
    open_live(driver, served)
    reached = set()
    for _ in range(16):
        ActionChains(driver).send_keys(Keys.TAB).perform()
        reached.add(str(driver.execute_script("return document.activeElement.innerText")))
    assert {"The line now", "The trial", "Light or dark", "Bale changed", "Vent flow seen"} <= reached


def test_within_seven_seconds_of_silence_no_figure_is_shown_as_live(
    driver: webdriver.Chrome, served: Served
) -> None:
    open_live(driver, served)
    assert len(all_of(driver, ".figure.live")) == 7
    (served.folder / "stop").touch()
    began = time.monotonic()
    until(lambda: len(all_of(driver, ".figure.lost.hatched")) == 7, 10)
    # One second may pass before the feeder sees the file.
    assert time.monotonic() - began < 8
    assert "no data since" in words(driver, "#figure-throughput")
    assert "source lost" in words(driver, "#figure-throughput")


def test_a_server_that_is_gone_is_told_by_the_page_itself(driver: webdriver.Chrome, served: Served) -> None:
    open_live_again = driver.current_url
    assert open_live_again == served.url + "/"
    served.process.kill()
    until(lambda: "No answer from this page's server since" in words(driver, "#link-lost"), 8)
    assert driver.execute_script("return document.documentElement.dataset.link") == "lost"
