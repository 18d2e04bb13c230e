"""Every page on a desk and a phone, light and dark: quiet, no wider than the screen, in order of headings, and within
reach of everybody (the web content accessibility guidelines 2.2, AA, as far as a machine can check them)."""

from __future__ import annotations

import os
import shutil
from base64 import b64decode
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from browser.joined_files import devices
from browser.page_checks import axe_source, clean, fits, headings, reachable, steady, watch_shifts

from dashboard.adding import worker
from dashboard.adding.inbox import Inbox
from dashboard.adding.jobs import Told
from dashboard.provider import LibraryProvider
from ridelog.store.library import Library

pytestmark = pytest.mark.browser

SEEN = [("desk", "light"), ("phone", "light"), ("phone", "dark")]
"""Colours do not depend on the width: by night a page is seen on one of the two, and held against the rules on colours
alone, since all else is as by day."""
COLOURS = ("color-contrast", "link-in-text-block")
SIZES = {"desk": (1400, 900, False), "phone": (390, 844, True)}
SETTLED = """
// figures draw themselves a moment after their boxes are there, and a page is whole when nothing of it is still to come
const boxes = [...document.querySelectorAll("main .plot")];
const waiting = document.querySelectorAll("main ._dash-loading, main [data-dash-is-loading='true']").length;
return waiting === 0 && boxes.every((one) => one.querySelector(".main-svg"));
"""
PICTURES = bool(os.environ.get("RIDELOG_PICTURES"))
"""Keep a picture of every page, to look at by eye."""


@dataclass(frozen=True)
class Page:
    """A page of the dashboard. `path` may name a `{ride}`, an `{other}` one and a `{case}`; `until` is there when it is
    whole; `press` is pressed then, and `after` is there after that; `status`: what the document is answered with."""

    path: str
    until: str
    press: str | None = None
    after: str | None = None
    status: int | None = None


FULL = {
    "rides": Page("/", "main table"),
    "ride": Page("/ride/{ride}", "#map .main-svg .trace"),
    "ride-without-coolant": Page("/ride/{dry}", "#stack .main-svg .trace"),
    "compare": Page("/compare?rides={ride},{other}", "#answer"),
    "compare-nothing": Page("/compare", "#compare-rides"),
    "compare-choices": Page("/compare", "#compare-rides", "#compare-rides details > summary", "#compare-rides a"),
    "review": Page("/review", "#answer"),
    "places": Page("/places", "#answer"),
    "bikes": Page("/bikes", "main .plain"),
    "bike": Page("/bikes/enduro-12", "textarea.file"),
    "bike-flips": Page("/bikes/enduro-12", "#profile-look:enabled", "#profile-look", "#profile-flips h2"),
    "sheet": Page("/sheets/2026-01", "textarea.file"),
    "new-bike": Page("/new/bike", "textarea.file"),
    "new-sheet": Page("/new/advice", "textarea.file"),
    "settings": Page("/settings", "#pref-trim"),
    "cases": Page("/cases", "main table"),
    "case": Page("/cases/{case}", "#case-page"),
    "new-case": Page("/new/case", "#case-open"),
    "case-of-a-ride": Page("/open-case/{ride}", "#case-open"),
    "joining": Page("/import/{job}", "#join-accept"),
    "import-gone": Page("/import/0123456789abcdef", ".message"),
    "adding": Page("/", "main table", "#add-open", "#add-panel:not([hidden])"),
    "no-such-ride": Page("/ride/none-such", ".message", status=404),
    "no-such-page": Page("/nothing/here", ".message", status=404),
}
EMPTY = {
    "rides": Page("/", ".message"),
    "compare": Page("/compare", "main h1"),
    "review": Page("/review", "main h1"),
    "bikes": Page("/bikes", "main h2"),
    "cases": Page("/cases", "main h2"),
    "new-case": Page("/new/case", ".message"),
}


@pytest.fixture(scope="module")
def named(sample_library: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, str]]:
    """A copy of the sample library with a case, and the names that addresses are made of."""
    root = tmp_path_factory.mktemp("pages") / "library"
    shutil.copytree(sample_library, root)
    provider = LibraryProvider(root)
    rides = [item for item in provider.rides() if item.bike == "enduro-12" and item.peak_c is not None]
    hot, cool = max(rides, key=lambda one: one.peak_c or 0.0), min(rides, key=lambda one: one.peak_c or 0.0)
    dry = next(item for item in provider.rides() if "coolant_c" not in item.channels)
    case = provider.open_case("enduro-12", "2026-06-20", "It boils on every sand ride. <b>Again.</b>", [hot.id])
    return root, {"ride": hot.id, "other": cool.id, "dry": dry.id, "case": case.id, "job": waiting_to_be_joined(root)}


def waiting_to_be_joined(root: Path) -> str:
    """An import of two files of one ride that waits to be looked at, as a worker leaves it; its name."""
    inbox = Inbox(root)
    inbox.open()
    logs = [(f"{name}.csv", text.encode()) for name, text in zip(("track", "engine"), devices(7, 12.5), strict=True)]
    job = inbox.make([(name, len(text)) for name, text in logs], Told(together=True))
    for number, (_, text) in enumerate(logs):
        job = inbox.receive(job.id, number, BytesIO(text), len(text))
    done = worker.work(root, inbox.folder(job.id), job)
    assert done.state == "joining"
    return inbox.put(done).id


@pytest.fixture(scope="module")
def full(named: tuple[Path, dict[str, str]], serve_library: Callable[[Path], Iterator[str]]) -> Iterator[str]:
    yield from serve_library(named[0])


@pytest.fixture(scope="module")
def empty(tmp_path_factory: pytest.TempPathFactory, serve_library: Callable[[Path], Iterator[str]]) -> Iterator[str]:
    yield from serve_library(Library.open(tmp_path_factory.mktemp("none") / "library").root)


@pytest.fixture(scope="module", params=SIZES)
def look(request: pytest.FixtureRequest, full: str, open_browser: Callable[..., Any]) -> Iterator[Any]:
    width, height, touch = SIZES[request.param]
    found = open_browser(full, width, height, touch=touch)
    watch_shifts(found)
    yield found
    found.driver.quit()


@pytest.fixture(scope="session")
def rules() -> str:
    return axe_source()


def shown(look: Any, page: Page, names: dict[str, str], theme: str) -> None:
    """The page, whole, by daylight or at night."""
    night = {"features": [{"name": "prefers-color-scheme", "value": theme}]}
    look.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", night)
    look.open(page.path.format(**names), page.until)
    if page.press is not None:
        look.wait(page.press).click()
        look.wait(str(page.after), 60.0)
    look.until(lambda: look.run(SETTLED), 30.0)
    assert look.run("return document.documentElement.dataset.theme") == theme


@pytest.mark.parametrize("name", FULL)
@pytest.mark.parametrize(("look", "theme"), SEEN, indirect=["look"])
def test_a_page_is_whole_and_within_reach(
    name: str, theme: str, look: Any, named: tuple[Path, dict[str, str]], request: pytest.FixtureRequest
) -> None:
    page = FULL[name]
    shown(look, page, named[1], theme)
    fits(look)
    headings(look)
    steady(look)
    size = "phone" if look.run("return innerWidth") < 500 else "desk"
    if PICTURES:
        look.full_picture(f"page-{name}-{size}-{theme}")
    clean(look, status=page.status)
    # last: where the rules can't be had the test is skipped, with the rest of it held
    reachable(look, request.getfixturevalue("rules"), COLOURS if theme == "dark" else ())


@pytest.mark.parametrize("name", EMPTY)
def test_an_empty_library_says_what_to_do(name: str, look: Any, empty: str, request: pytest.FixtureRequest) -> None:
    before, look.base = look.base, empty
    try:
        look.traffic(), look.complaints()
        shown(look, EMPTY[name], {}, "light")
        fits(look)
        headings(look)
        size = "phone" if look.run("return innerWidth") < 500 else "desk"
        if PICTURES:
            look.full_picture(f"empty-{name}-{size}")
        said = look.text()
        assert any(told in said for told in ("Drop", "new bike file", "Open one when")), said
        clean(look)
        reachable(look, request.getfixturevalue("rules"))
    finally:
        look.base = before


@pytest.mark.parametrize("name", ["ride", "compare", "review", "places"])
def test_pictures_are_drawn_for_paper_and_then_for_the_screen_again(
    name: str, look: Any, named: tuple[Path, dict[str, str]]
) -> None:
    sizes = (
        "return [...document.querySelectorAll('main .js-plotly-plot')].map((one) => "
        "[one._fullLayout.width, one._fullLayout.height, one.parentElement.offsetHeight])"
    )
    shown(look, FULL[name], named[1], "light")
    on_screen = look.run(sizes)
    assert on_screen
    for _ in range(2):
        look.run("window.dispatchEvent(new Event('beforeprint'))")
        on_paper = look.run(sizes)
        assert {width for width, _, _ in on_paper} == {690}
        assert all(height == box <= 700 for _, height, box in on_paper)
        look.run("window.dispatchEvent(new Event('afterprint'))")
        look.until(lambda: look.run(sizes) == on_screen)
    printed = look.driver.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True})
    assert b64decode(printed["data"]).startswith(b"%PDF")
    clean(look)
