"""The hottest places in a real browser: found while the page waits, on the map and in the table, and the way to a ride
and back."""

from __future__ import annotations

from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest

from dashboard.components.naming import named, ride_names
from dashboard.provider import LibraryProvider
from ridelog.places_hot import hot_places
from ridelog.store.library import Library
from ridelog.words import places_hot as hot_words

pytestmark = pytest.mark.browser

RANGE = "return document.querySelector('#stack .js-plotly-plot').layout.xaxis.range.map(Number)"
MAP = "#places-map .main-svg .trace"


def clean(look: Any) -> None:
    asked, failed = look.traffic()
    assert look.complaints() == []
    assert failed == []
    here = urlsplit(look.base).netloc
    hosts = {urlsplit(address).netloc for address in asked if not address.startswith(("data:", "blob:", "about:"))}
    assert hosts <= {here}


def plain(text: str) -> str:
    return " ".join(text.replace("\u00a0", " ").replace("°C", "C").split())


@pytest.mark.parametrize("size", ["desk", "phone"])
def test_places_are_found_and_lead_to_their_rides(
    size: str, sample_library: Path, request: pytest.FixtureRequest
) -> None:
    look = request.getfixturevalue(size)
    look.traffic()
    look.open("/", "main table")
    link = look.wait("nav a[href='/places']")
    link.click()
    # rides that were not looked at yet are analyzed while the page says how far that is
    look.wait("#answer", seconds=90.0)
    look.wait(MAP)
    found = hot_places(Library.open(sample_library))
    names = ride_names(LibraryProvider(sample_library).rides())
    assert plain(look.text("#answer")) == plain(named(found.summary[0], names))
    rows = look.driver.find_elements("css selector", "[aria-labelledby=h-table] tbody tr")
    assert len(rows) == len(found.places) > 0
    told = plain(look.text("[aria-labelledby=h-table]"))
    for place in found.places:
        assert plain(hot_words.passes_hot(place)) in told
    assert look.run("return document.documentElement.scrollWidth <= innerWidth")
    look.full_picture(f"places-{size}")
    first = look.driver.find_element("css selector", "ol.passes a")
    words = first.text
    look.run("arguments[0].scrollIntoView({block: 'center'})", first)
    first.click()
    look.wait("#stack .main-svg .trace")
    start, end = look.run(RANGE)
    clock = words.rsplit(" ", 1)[1]
    hours, minutes, seconds = (int(part) for part in clock.split(":"))
    assert start <= hours * 3600 + minutes * 60 + seconds <= end
    assert end - start < 900.0
    look.driver.back()
    look.wait(MAP)
    clean(look)


def test_a_hidden_course_shows_no_map_of_places(desk: Any) -> None:
    desk.open("/settings", "#pref-hide")
    desk.run("localStorage.setItem('prefs', JSON.stringify({hide_course: true}))")
    desk.open("/places", "#answer")
    desk.until(lambda: "switched off" in desk.text("[aria-labelledby=h-map]"))
    assert desk.driver.find_elements("css selector", "#places-map") == []
    desk.run("localStorage.removeItem('prefs')")
    clean(desk)
