"""The review of the advice in a browser: its answer, a strip a ride, narrowed by links, figures behind each picture."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from browser.page_checks import clean, fits
from selenium.webdriver import Keys

from dashboard.provider import LibraryProvider
from ridelog.report.sentences import shown
from ridelog.words import review_answer

pytestmark = pytest.mark.browser


def plain(text: str) -> str:
    return " ".join(text.replace("\u00a0", " ").split())


@pytest.mark.parametrize("size", ["desk", "phone"])
def test_the_answer_the_strips_and_one_bike(size: str, sample_library: Path, request: pytest.FixtureRequest) -> None:
    look = request.getfixturevalue(size)
    provider = LibraryProvider(sample_library)
    whole = provider.review_of(None, None)
    look.open("/review", "#answer")
    assert look.text("#answer") == plain(shown(review_answer.answer(whole.review)[0]))
    strips = look.driver.find_elements("css selector", ".strip img")
    assert len(strips) == len(whole.strips)
    assert all("stretches asked for the conservative map" in one.get_attribute("alt") for one in strips)
    fits(look)
    look.full_picture(f"review-{size}")
    bike = whole.bikes[0]
    narrowed = provider.review_of(bike, None)
    look.press(f".filters a[href='/review?bike={bike}']")
    answer = plain(shown(review_answer.answer(narrowed.review)[0]))
    look.until(lambda: look.run("return document.querySelector('#answer').innerText").replace("\u00a0", " ") == answer)
    assert look.text(".filters [aria-current='page']") == bike
    look.driver.back()
    look.until(lambda: len(look.driver.find_elements("css selector", ".strip img")) == len(whole.strips))
    clean(look)


def test_a_strip_leads_to_its_ride_and_figures_open_by_keyboard(desk: Any, sample_library: Path) -> None:
    found = LibraryProvider(sample_library).review_of(None, None)
    desk.open("/review", "#answer")
    summary = desk.wait("[aria-labelledby='h-month'] summary")
    summary.send_keys(Keys.ENTER)
    rows = desk.driver.find_elements("css selector", "[aria-labelledby='h-month'] tbody tr")
    assert len(rows) == len(found.review.by_month)
    cells = review_answer.group_cells(found.review.by_month[0])
    assert plain(" ".join(cells)) in " ".join(desk.text("[aria-labelledby='h-month'] tbody tr").split())
    link = desk.wait(".strip a")
    ride = link.get_attribute("href")
    link.click()
    desk.wait("#stack .main-svg .trace")
    assert desk.driver.current_url == ride
    clean(desk)
