"""From the picture to a printed case, in a real browser: a note at the moment clicked, a case with its evidence."""

from __future__ import annotations

import base64
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from selenium.common.exceptions import StaleElementReferenceException
from selenium.webdriver import ActionChains, Keys

from dashboard.provider import LibraryProvider

pytestmark = pytest.mark.browser

RANGE = "return document.querySelector('#stack .js-plotly-plot').layout.xaxis.range.map(Number)"
HOSTILE = "coolant at the overflow <img src=x onerror=alert(1)>"


def field(part: str, number: int = 0) -> str:
    """Selector of a part of a note's form."""
    return f"""[id='{{"number":{number},"type":"{part}"}}']"""


def into_view(look: Any, selector: str) -> Any:
    """The element, in the middle of the window; asked for again where the page was just drawn anew under it."""

    def found() -> Any:
        try:
            one = look.wait(selector)
            look.run("arguments[0].scrollIntoView({block: 'center'})", one)
        except StaleElementReferenceException:
            return None
        return one

    return look.until(found, 30)


def said(look: Any, selector: str = "main") -> str:
    """What stands in an element now, read in one step: it may be drawn anew while one looks."""
    script = "const found = document.querySelector(arguments[0]); return found ? found.innerText : ''"
    return " ".join(str(look.run(script, selector)).replace("\u00a0", " ").split())


def clean(look: Any) -> None:
    """No word on the console, no failed request, nothing from another host."""
    asked, failed = look.traffic()
    assert look.complaints() == []
    assert failed == []
    hosts = {urlsplit(address).netloc for address in asked if not address.startswith(("data:", "blob:", "about:"))}
    assert hosts == {urlsplit(look.base).netloc}


@pytest.fixture(scope="module")
def library(sample_library: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the sample library: these tests write into it."""
    root = tmp_path_factory.mktemp("written") / "library"
    shutil.copytree(sample_library, root)
    return root


@pytest.fixture(scope="module")
def base(library: Path, serve_library: Callable[[Path], Iterator[str]]) -> Iterator[str]:
    yield from serve_library(library)


@pytest.fixture(scope="module")
def ride(library: Path) -> str:
    """The hottest ride."""
    return max(LibraryProvider(library).rides(), key=lambda item: item.peak_c or 0.0).id


@pytest.fixture
def desk(base: str, open_browser: Callable[..., Any]) -> Iterator[Any]:
    look = open_browser(base, 1440, 900, touch=False)
    yield look
    look.driver.quit()


@pytest.fixture
def phone(base: str, open_browser: Callable[..., Any]) -> Iterator[Any]:
    look = open_browser(base, 390, 844, touch=True)
    yield look
    look.driver.quit()


@pytest.mark.parametrize("size", ["desk", "phone"])
def test_a_note_at_the_moment_that_was_clicked(
    size: str, library: Path, ride: str, request: pytest.FixtureRequest
) -> None:
    look = request.getfixturevalue(size)
    look.open(f"/ride/{ride}", "#stack .main-svg .trace")
    plot = into_view(look, "#stack .nsewdrag")
    aside = plot.size["width"] // 8
    ActionChains(look.driver).move_to_element_with_offset(plot, aside, 0).pause(0.3).click().perform()
    told = look.until(lambda: said(look, "#note-here") if "Note at 0:" in said(look, "#note-here") else None)
    into_view(look, "#note-here").click()
    look.until(lambda: look.run("return document.activeElement.tagName") == "TEXTAREA")
    at = look.wait(f"input{field('note-at')}").get_attribute("value")
    assert f"Note at {at.removeprefix('+')}" == told
    shown = look.run(RANGE)
    # what is wrong is said beside the form, and nothing typed is lost
    look.wait(f"textarea{field('note-text')}").send_keys(HOSTILE)
    box = look.wait(f"input{field('note-at')}")
    box.send_keys(Keys.CONTROL + "a")
    box.send_keys("soon")
    into_view(look, f"button{field('note-save')}").click()
    look.until(lambda: "is no time" in said(look, f"p{field('note-said')}"))
    assert look.wait(f"textarea{field('note-text')}").get_attribute("value") == HOSTILE
    box.send_keys(Keys.CONTROL + "a")
    box.send_keys(at)
    into_view(look, f"button{field('note-save')}").click()
    look.until(lambda: "counts as: coolant lost" in said(look, "#notes-said"))
    look.until(lambda: look.run("return document.activeElement.id") == "notes-said")
    look.until(lambda: look.run(RANGE) == pytest.approx(shown))
    (note,) = LibraryProvider(library).notes(ride)
    assert HOSTILE in look.text(".notes"), "what was typed stands there as text"
    marks = look.run("return [...document.querySelectorAll('#stack .annotation-text')].map((one) => one.textContent)")
    assert "1" in marks
    assert look.run("return document.documentElement.scrollWidth <= innerWidth")
    look.full_picture(f"ride-noted-{size}")
    # correct it, by keyboard alone
    summary = into_view(look, f"summary{field('note-change', note.number)}")
    summary.send_keys(Keys.ENTER)
    text = look.wait(f"textarea{field('note-text', note.number)}")
    text.send_keys(Keys.CONTROL + "a")
    text.send_keys("waited at the gate")
    into_view(look, f"button{field('note-save', note.number)}").send_keys(Keys.ENTER)
    look.until(lambda: "Corrected." in said(look, "#notes-said"))
    look.until(lambda: "waited at the gate" in said(look, ".notes"))
    # and take it away again
    into_view(look, f"summary{field('note-change', note.number)}").click()
    look.wait(f"button{field('note-remove', note.number)}")
    into_view(look, f"button{field('note-remove', note.number)}").click()
    look.until(lambda: "Removed:" in said(look, "#notes-said"))
    assert LibraryProvider(library).notes(ride) == []
    clean(look)


@pytest.mark.parametrize("size", ["desk", "phone"])
def test_a_case_from_the_ride_to_paper(size: str, library: Path, ride: str, request: pytest.FixtureRequest) -> None:
    look = request.getfixturevalue(size)
    look.open(f"/ride/{ride}", "#stack .main-svg .trace")
    found = LibraryProvider(library).view_of(ride).diagnosis
    assert found.summary[0].split("(")[0].strip() in look.text("[aria-labelledby='h-behind']")
    into_view(look, f"a[href='/open-case/{ride}']").click()
    look.wait("#case-open")
    assert look.run("return document.querySelectorAll('#case-rides input:checked').length") == 1
    into_view(look, "#case-open").click()
    look.until(lambda: "What the rider said is empty" in said(look, "#case-said"))
    look.wait("#case-words").send_keys("It boils. <b>Again</b>.")
    look.full_picture(f"case-form-{size}")
    into_view(look, "#case-open").click()
    look.until(lambda: "/cases/" in look.driver.current_url, 60)
    look.wait("#case-page")
    look.until(lambda: "Today: the same." in said(look), 60)
    assert "“It boils. <b>Again</b>.”" in f"“{look.text('blockquote')}”"
    assert look.run("return document.documentElement.scrollWidth <= innerWidth")
    look.full_picture(f"case-{size}")
    address = look.driver.current_url
    paper = look.driver.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True})
    assert base64.b64decode(paper["data"]).startswith(b"%PDF")
    look.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    # the driver's own reading takes what is in a closed box for hidden, whatever the style says
    seen = " ".join(look.run("return document.querySelector('main').innerText").replace("\u00a0", " ").split())
    # on paper, evidence stands open and no form is left
    assert "Speaks for it" in seen
    assert found.ranked[0].check_next[0][:30] in seen
    assert "Close the case" not in seen
    assert look.run("return getComputedStyle(document.querySelector('.fields')).display") == "none"
    look.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
    look.wait("#case-found").send_keys("fins packed with mud")
    label = next(
        one for one in look.driver.find_elements("css selector", "#case-cause label") if "too little air" in one.text
    )
    look.run("arguments[0].scrollIntoView({block: 'center'})", label)
    label.click()
    into_view(look, "#case-close").click()
    look.wait("#case-reopen")
    assert "fins packed with mud" in look.text()
    look.driver.back()
    look.wait("#case-open")
    look.driver.get(address)
    look.wait("#case-reopen")
    look.until(lambda: "Today: the same." in said(look), 60)
    look.open("/cases", "main table")
    assert address.rpartition("/")[2] in look.text("main table")
    assert look.run("return document.documentElement.scrollWidth <= innerWidth")
    look.picture(f"cases-{size}")
    clean(look)


def test_a_ride_is_taken_out_and_a_case_removed_only_after_what_is_lost_was_told(
    library: Path, ride: str, desk: Any
) -> None:
    provider = LibraryProvider(library)
    bike = provider.bike_of(ride)
    assert bike is not None
    case = provider.open_case(bike, "2026-06-24", "It was hot once more.", [ride])
    desk.open(f"/cases/{case.id}", "#case-page")
    out = """[id='{"index":0,"type":"case-out"}']"""
    assert not desk.run("return arguments[0].checkVisibility()", desk.wait(out))
    desk.wait("#case-found").send_keys("half a sent")
    into_view(desk, ".card .losing > summary").send_keys(Keys.ENTER)
    into_view(desk, out).send_keys(Keys.ENTER)
    desk.until(lambda: ride in said(desk, "#case-told"))
    desk.until(lambda: desk.run("return document.activeElement.id") == "case-told")
    assert desk.wait("#case-found").get_attribute("value") == "half a sent"
    assert provider.case(case.id).rides == ()
    into_view(desk, ".losing:has(#case-remove) > summary").click()
    desk.full_picture("case-removing")
    into_view(desk, "#case-remove").click()
    desk.until(lambda: desk.driver.current_url.endswith("/cases"))
    desk.until(lambda: "A case holds" in said(desk))
    assert case.id not in {one.id for one in provider.cases()}
    assert provider.holds(ride)
    clean(desk)
