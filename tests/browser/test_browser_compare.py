"""Rides beside rides in a browser: chosen by links, answered, drawn, and undone by the way back."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from browser.page_checks import clean, fits

from dashboard.pages.compare import told
from dashboard.provider import CompareQuestion, LibraryProvider

pytestmark = pytest.mark.browser

BIKE = "enduro-12"


def plain(text: str) -> str:
    return " ".join(text.replace("\u00a0", " ").split())


@pytest.fixture(scope="module")
def rides(sample_library: Path) -> tuple[str, str]:
    """The hottest ride of a bike and the coolest."""
    there = [item for item in LibraryProvider(sample_library).rides() if item.bike == BIKE and item.peak_c is not None]
    ranked = sorted(there, key=lambda item: item.peak_c or 0.0)
    return ranked[-1].id, ranked[0].id


def choose(look: Any, ride: str) -> None:
    """Press a ride in the list of those that can be chosen, opening its bike's list where it is closed."""
    where = f"#compare-rides a[href$='{ride}']"

    def pressed() -> bool:
        link = look.wait(where)
        for box in look.driver.find_elements("css selector", "#compare-rides, #compare-rides details"):
            if look.run("return arguments[0].contains(arguments[1]) && !arguments[0].open", box, link):
                box.find_element("css selector", "summary").click()
        look.run("arguments[0].scrollIntoView({block: 'center'})", link)
        link.click()
        return True

    look.until(pressed)


@pytest.mark.parametrize("size", ["desk", "phone"])
def test_two_rides_are_chosen_and_answered(
    size: str, rides: tuple[str, str], sample_library: Path, request: pytest.FixtureRequest
) -> None:
    look = request.getfixturevalue(size)
    hot, cool = rides
    look.open("/", "main table")
    look.press("header a[href='/compare']")
    look.wait("#compare-rides")
    choose(look, hot)
    look.until(lambda: look.driver.current_url.endswith(f"?rides={hot}"))
    look.wait(f".chosen-rides a[href='/ride/{hot}']")
    choose(look, cool)
    look.wait("#answer", 60.0)
    view = LibraryProvider(sample_library).compare_of(CompareQuestion(rides))
    assert view.comparison is not None
    assert look.text("#answer") == plain(told(view.comparison.summary[0], view))
    assert view.ground is not None
    passes = [one for row in view.ground.stretches for one in row.passes if one.full]
    look.wait("[aria-labelledby='h-places'] .js-plotly-plot .main-svg .trace")
    lines = look.run("return document.querySelectorAll(\"[aria-labelledby='h-places'] .scatterlayer .trace\").length")
    assert 2 <= lines <= len(passes)
    # words beside the lines stand under the heading, and none of them on the picture
    assert look.run("return document.querySelectorAll('main .js-plotly-plot .legend').length") == 0
    fits(look)
    look.full_picture(f"compare-{size}")
    # the other way round, and back
    look.press(f".chosen-rides a[href$='rides={cool}%2C{hot}']")
    look.until(lambda: look.text(".chosen-rides li").startswith(plain(told(cool, view))))
    look.driver.back()
    look.until(lambda: look.text(".chosen-rides li").startswith(plain(told(hot, view))))
    look.press(f".chosen-rides a[href$='rides={hot}']")
    look.until(lambda: len(look.driver.find_elements("css selector", ".chosen-rides li")) == 1)
    clean(look)


def test_before_and_after_a_service(desk: Any, sample_library: Path) -> None:
    """Its answer, or why it has none."""
    provider = LibraryProvider(sample_library)
    bike, day, _ = provider.compare_of(CompareQuestion()).services[0]
    view = provider.compare_of(CompareQuestion(bike=bike, service=day))
    desk.open("/compare", "#compare-rides")
    box = next(
        one for one in desk.driver.find_elements("css selector", "main summary") if one.text.startswith("Before and")
    )
    box.click()
    desk.wait(f"a[href='/compare?bike={bike}&service={day}']").click()
    expected = view.said if view.comparison is None else told(view.comparison.summary[0], view)
    assert expected
    desk.until(lambda: plain(expected) in desk.text(), 60.0)
    clean(desk)
