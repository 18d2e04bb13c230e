"""A running dashboard over a library of the sample rides, and a headless Chromium to look at it."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("selenium", reason="selenium is not installed")

from selenium import webdriver
from selenium.common.exceptions import ElementNotInteractableException, StaleElementReferenceException
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.support.ui import WebDriverWait

pytest.register_assert_rewrite("browser.page_checks")

PICTURES = Path(__file__).resolve().parent / "pictures"
_BROWSERS = ("chromium", "chromium-browser", "google-chrome")
_FLAGS = (
    "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update",
    "--disable-sync", "--no-first-run", "--force-prefers-reduced-motion",
)  # fmt: skip


@dataclass
class Look:
    """A browser at one size, with what it logged."""

    driver: Any
    base: str

    def open(self, path: str, until: str) -> None:
        """Open a page and wait for an element."""
        self.driver.get(self.base + path)
        self.wait(until)

    def wait(self, selector: str, seconds: float = 30.0) -> Any:
        """The first element that fits, once it is there."""
        return WebDriverWait(self.driver, seconds, poll_frequency=0.05).until(
            lambda d: d.find_elements("css selector", selector)
        )[0]

    def until(self, met: Callable[[], Any], seconds: float = 15.0) -> Any:
        """Wait until something holds; its value. An element drawn anew in the meantime is asked again."""
        again = (StaleElementReferenceException,)
        return WebDriverWait(self.driver, seconds, poll_frequency=0.05, ignored_exceptions=again).until(lambda _: met())

    def press(self, selector: str, seconds: float = 30.0) -> None:
        """Click the first element that fits, once it is there and can be; again where it was drawn anew meanwhile."""

        def pressed() -> bool:
            try:
                self.driver.find_element("css selector", selector).click()
            except ElementNotInteractableException:
                return False
            return True

        self.until(pressed, seconds)

    def run(self, script: str, *arguments: Any) -> Any:
        """The value of a script in the page."""
        return self.driver.execute_script(script, *arguments)

    def text(self, selector: str = "main") -> str:
        """Visible words of an element, white space single."""
        found = self.driver.find_element("css selector", selector).text
        return " ".join(found.replace("\u00a0", " ").split())

    def picture(self, name: str) -> None:
        """Save what is seen."""
        PICTURES.mkdir(exist_ok=True)
        self.driver.save_screenshot(str(PICTURES / f"{name}.png"))

    def full_picture(self, name: str) -> None:
        """Save the whole page, however long."""
        import base64

        PICTURES.mkdir(exist_ok=True)
        width, height = self.run("return [innerWidth, document.documentElement.scrollHeight]")
        clip = {"x": 0, "y": 0, "width": width, "height": height, "scale": 1}
        shot = self.driver.execute_cdp_cmd("Page.captureScreenshot", {"captureBeyondViewport": True, "clip": clip})
        (PICTURES / f"{name}.png").write_bytes(base64.b64decode(shot["data"]))

    def complaints(self) -> list[str]:
        """What the console said since the last call."""
        return [f"{entry['level']}: {entry['message']}" for entry in self.driver.get_log("browser")]

    def traffic(self) -> tuple[list[str], list[str]]:
        """Addresses asked for since the last call, and requests that failed or were answered with an error."""
        asked: dict[str, str] = {}
        nothing_to_say: set[str] = set()
        failed: list[str] = []
        for entry in self.driver.get_log("performance"):
            message = json.loads(entry["message"])["message"]
            details = message["params"]
            if message["method"] == "Network.requestWillBeSent":
                asked[details["requestId"]] = details["request"]["url"]
            elif message["method"] == "Network.responseReceived":
                status = details["response"]["status"]
                if status >= 400:
                    failed.append(f"{status} {details['response']['url']}")
                if status == 204:
                    nothing_to_say.add(details["requestId"])
            elif message["method"] == "Network.loadingFailed":
                # An answer without a body (204: nothing changed) is never read to its end, and a request of the page
                # before this one may be given up as the page goes: Chromium calls both aborted.
                gone = details.get("canceled", False) and details["requestId"] not in asked
                if details["requestId"] in nothing_to_say or gone:
                    continue
                failed.append(f"{details['errorText']} {asked.get(details['requestId'], '?')}")
        return list(asked.values()), failed


def browser(base: str, width: int, height: int, *, touch: bool) -> Look:
    """A fresh Chromium of one size; skips, saying so, where there is none."""
    chromium = next((path for name in _BROWSERS if (path := shutil.which(name))), None)
    chromedriver = shutil.which("chromedriver")
    if chromium is None or chromedriver is None:
        if os.environ.get("RIDELOG_REQUIRE_BROWSER"):
            pytest.fail("no Chromium with chromedriver on this machine, and RIDELOG_REQUIRE_BROWSER asks for one")
        pytest.skip("no Chromium with chromedriver on this machine (Debian: chromium, chromium-driver)")
    options = webdriver.ChromeOptions()
    options.binary_location = chromium
    for flag in (*_FLAGS, f"--window-size={width},{height}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    if touch:
        metrics = {"width": width, "height": height, "pixelRatio": 2, "touch": True}
        options.add_experimental_option("mobileEmulation", {"deviceMetrics": metrics})
    driver = webdriver.Chrome(options=options, service=Service(chromedriver))
    if not touch:
        size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": False}
        driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    return Look(driver, base)


@pytest.fixture(scope="session")
def sample_library(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A library of the sample rides, imported and stored as a user would."""
    from ridelog.cli.demo_library import build

    root = tmp_path_factory.mktemp("browser") / "library"
    assert build(root, lambda _: None, season=False).refused == []
    return root


@pytest.fixture(scope="session")
def dashboard(sample_library: Path) -> Iterator[str]:
    """Address of a running dashboard."""
    yield from running(sample_library)


def running(root: Path) -> Iterator[str]:
    """Run a dashboard in a process of its own; its address without the last slash."""
    code = (
        "import sys; from pathlib import Path; from dashboard.server import serve; "
        "serve(Path(sys.argv[1]), '127.0.0.1', 0, on_ready=lambda told: print(told, flush=True))"
    )
    process = subprocess.Popen(
        [sys.executable, "-c", code, str(root)], stdout=subprocess.PIPE, text=True, env={**os.environ}
    )
    try:
        assert process.stdout is not None
        yield process.stdout.readline().strip().rstrip("/")
    finally:
        process.terminate()
        process.wait(20)
        assert process.stdout is not None
        process.stdout.close()


@pytest.fixture(scope="session")
def desk(dashboard: str) -> Iterator[Look]:
    """A browser of a desk: 1440 by 900."""
    look = browser(dashboard, 1440, 900, touch=False)
    yield look
    look.driver.quit()


@pytest.fixture(scope="session")
def phone(dashboard: str) -> Iterator[Look]:
    """A browser of a phone: 390 by 844, with a finger for a pointer."""
    look = browser(dashboard, 390, 844, touch=True)
    yield look
    look.driver.quit()


@pytest.fixture(scope="session")
def open_browser() -> Callable[..., Look]:
    """Makes browsers (see `browser`) for a dashboard of a test's own."""
    return browser


@pytest.fixture(scope="session")
def serve_library() -> Callable[[Path], Iterator[str]]:
    """Runs dashboards (see `running`) over a library of a test's own."""
    return running
