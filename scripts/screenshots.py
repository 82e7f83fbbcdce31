"""Takes the pictures of the pages from a running server: ``python scripts/screenshots.py URL OUTDIR``."""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from selenium import webdriver
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import WebDriverWait

WAIT_S = 40
SETTLE_S = 2.0
FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--hide-scrollbars",
)


@dataclass(frozen=True, slots=True)
class Shot:
    """One picture: file name, page, size in pixels, dark or light, what must be there first."""

    name: str
    path: str
    width: int
    height: int
    dark: bool
    ready: str
    whole: bool = False


SHOTS = (
    Shot("line-now", "/", 1920, 1080, False, "#figures .figure"),
    Shot("line-now-dark", "/", 1920, 1080, True, "#figures .figure"),
    Shot("line-now-machines", "/", 1920, 1080, False, ".machine .sparkline", whole=True),
    Shot("line-now-tablet", "/", 1024, 768, False, "#figures .figure", whole=True),
    Shot("trial", "/trial", 1920, 1080, False, "#ledger .scatterlayer .trace", whole=True),
    Shot("trial-dark", "/trial", 1920, 1080, True, "#ledger .scatterlayer .trace", whole=True),
    Shot("trial-tablet", "/trial", 1024, 768, False, "#ledger .scatterlayer .trace", whole=True),
)


@contextmanager
def browser() -> Iterator[webdriver.Chrome]:
    """Chromium with its own driver and an empty profile."""
    with tempfile.TemporaryDirectory() as profile:
        options = webdriver.ChromeOptions()
        options.binary_location = "/usr/bin/chromium"
        for flag in (*FLAGS, f"--user-data-dir={profile}"):
            options.add_argument(flag)
        driver = webdriver.Chrome(options=options, service=Service("/usr/bin/chromedriver"))
        try:
            yield driver
        finally:
            driver.quit()


def take(driver: webdriver.Chrome, url: str, shot: Shot, folder: Path) -> Path:
    """One picture, once the page shows what it must; the whole page where asked."""
    scheme = [{"name": "prefers-color-scheme", "value": "dark" if shot.dark else "light"}]
    driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": scheme})
    size = {"width": shot.width, "height": shot.height, "deviceScaleFactor": 1, "mobile": False}
    driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    driver.get(url.rstrip("/") + shot.path)
    WebDriverWait(driver, WAIT_S).until(lambda d: d.find_elements(By.CSS_SELECTOR, shot.ready))
    time.sleep(SETTLE_S)
    if shot.whole:
        size["height"] = int(driver.execute_script("return document.documentElement.scrollHeight"))
        driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
        time.sleep(SETTLE_S / 2)
    file = folder / f"{shot.name}.png"
    driver.save_screenshot(str(file))
    return file


def main(arguments: list[str]) -> int:
    """Every picture into the folder; 2 on wrong use."""
    if len(arguments) != 2:
        print("python scripts/screenshots.py URL OUTDIR", file=sys.stderr)
        return 2
    url, folder = arguments[0], Path(arguments[1])
    folder.mkdir(parents=True, exist_ok=True)
    with browser() as driver:
        for shot in SHOTS:
            print(take(driver, url, shot, folder))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
