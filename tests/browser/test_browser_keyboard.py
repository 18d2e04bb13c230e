"""By keyboard alone: the way into the page, the order of stops, and what each stop is called."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from browser.page_checks import clean
from selenium.webdriver import ActionChains, Keys

from dashboard.provider import LibraryProvider

pytestmark = pytest.mark.browser

STOP = """
const one = document.activeElement;
const box = one.getBoundingClientRect();
const shows = (part) => {
    const style = getComputedStyle(part);
    return style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2;
};
// a field inside a frame of its own is shown by the frame
const frame = one.closest(".dash-input-container");
const named = one.labels && one.labels.length ? one.labels[0].innerText : "";
const ids = (one.getAttribute("aria-labelledby") || "").split(" ");
const by = ids.map((id) => document.getElementById(id)?.innerText || "");
return {
    tag: one.tagName,
    inside: one.closest("main") ? "main" : one.closest("header") ? "header" : "before",
    name: (one.getAttribute("aria-label") || by.join(" ") || named || one.innerText || one.title || "").trim(),
    seen: box.width > 0 && box.height > 0 && (shows(one) || (frame !== null && shows(frame))),
    mark: (one.dataset.stop = one.dataset.stop || String(Math.random())),
};
"""
TOP = "document.body.tabIndex = -1; document.body.focus()"
MOST_STOPS = 160


def walk(look: Any) -> list[dict[str, Any]]:
    """Every stop of the tab key, from the top of the page round to its end."""
    stops: list[dict[str, Any]] = []
    look.run(TOP)
    for _ in range(MOST_STOPS):
        ActionChains(look.driver).send_keys(Keys.TAB).perform()
        stop = look.run(STOP)
        if stop["tag"] == "BODY" or stop["mark"] in {one["mark"] for one in stops}:
            return stops
        stops.append(stop)
    return stops


@pytest.fixture(scope="module")
def ride(sample_library: Path) -> str:
    """The shortest ride with coolant: its page has the fewest stretches."""
    there = [item for item in LibraryProvider(sample_library).rides() if item.peak_c is not None]
    return min(there, key=lambda item: item.duration_s).id


@pytest.mark.parametrize(
    "path", ["/", "/ride/{ride}", "/compare?rides={ride}", "/bikes/enduro-12", "/settings", "/new/case"]
)
def test_every_stop_is_named_seen_and_in_order(path: str, ride: str, desk: Any) -> None:
    desk.open(path.format(ride=ride), "main h1")
    desk.until(lambda: desk.run("return document.querySelectorAll('main a, main button, main input').length > 0"))
    drawn = "return [...document.querySelectorAll('main .plot')].every((one) => one.querySelector('.main-svg'))"
    desk.until(lambda: desk.run(drawn))
    stops = walk(desk)
    assert len(stops) > 5
    assert [one["name"] for one in stops if not one["name"]] == []
    assert [one["name"] for one in stops if not one["seen"]] == []
    places = [one["inside"] for one in stops]
    assert places == sorted(places, key=["before", "header", "main"].index), "head first, then the page"
    clean(desk)


def test_the_skip_link_leads_past_the_head(desk: Any) -> None:
    desk.open("/", "main table")
    desk.run(TOP)
    ActionChains(desk.driver).send_keys(Keys.TAB).perform()
    desk.until(lambda: desk.run("return document.activeElement.className") == "skip")
    ActionChains(desk.driver).send_keys(Keys.ENTER).perform()
    desk.until(lambda: desk.run("return document.activeElement.id") == "content")
    ActionChains(desk.driver).send_keys(Keys.TAB).perform()
    assert desk.run("return !!document.activeElement.closest('main')")
    clean(desk)
