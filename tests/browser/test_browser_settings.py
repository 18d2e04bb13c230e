"""Settings in a browser: kept by it, seen on every page, by keyboard as by mouse."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from browser.page_checks import clean, fits
from selenium.webdriver import Keys

from dashboard import texts
from dashboard.provider import LibraryProvider
from ridelog.words.display import IMPERIAL

pytestmark = pytest.mark.browser

SIZES = {"desk": (1400, 900, False), "phone": (390, 844, True)}
GROUND = "return getComputedStyle(document.body).backgroundColor"


@pytest.fixture(params=SIZES)
def look(dashboard: str, open_browser: Callable[..., Any], request: pytest.FixtureRequest) -> Iterator[Any]:
    """A browser of its own: what it keeps stays with it."""
    width, height, touch = SIZES[request.param]
    found = open_browser(dashboard, width, height, touch=touch)
    yield found
    found.driver.quit()


def test_what_is_chosen_holds_on_every_page(look: Any, sample_library: Path) -> None:
    provider = LibraryProvider(sample_library)
    hot = max(provider.rides(), key=lambda item: item.peak_c or 0.0)
    look.open("/settings", "#pref-trim")
    light = look.run(GROUND)
    # who hears the page is told of groups of buttons, each with the name of its card
    for group, heading in (("pref-units", texts.SETTINGS_UNITS), ("pref-theme", texts.SETTINGS_THEME)):
        told = look.run(
            "const one = document.getElementById(arguments[0]); "
            "return [one.getAttribute('role'), document.getElementById(one.getAttribute('aria-labelledby')).innerText]",
            group,
        )
        assert told == ["radiogroup", heading]
    # by keyboard: arrows go from one to the next, as in any group of radio buttons
    first = look.wait("#pref-units input:checked")
    first.send_keys(Keys.ARROW_DOWN)
    look.until(lambda: look.run("return document.querySelectorAll('#pref-units input')[1].checked"))
    look.driver.find_elements("css selector", "#pref-theme label")[2].click()
    look.until(lambda: look.run("return document.documentElement.dataset.theme") == "dark")
    assert look.run(GROUND) != light
    look.press("#pref-hide label")
    box = look.wait("#pref-trim")
    box.send_keys(Keys.CONTROL + "a")
    box.send_keys("250", Keys.TAB)
    look.until(lambda: look.run("return JSON.parse(localStorage.getItem('prefs') || '{}').trim_m") == 250)
    fits(look)
    look.open("/", "main table")
    assert look.run("return document.documentElement.dataset.theme") == "dark"
    assert IMPERIAL.peak_text(hot.peak_c).replace("\u00a0", " ") in look.text("main table")
    look.open(f"/ride/{hot.id}", "#stack .main-svg .trace")
    assert texts.COURSE_HIDDEN in look.text()
    assert not look.driver.find_elements("css selector", "#map .main-svg")
    files = [one.get_attribute("href") for one in look.driver.find_elements("css selector", ".files a[download]")]
    assert files
    assert all("trim=250" in one for one in files)
    look.open("/settings", "#pref-trim")
    assert look.run("return document.querySelectorAll('#pref-units input')[1].checked")
    clean(look)
