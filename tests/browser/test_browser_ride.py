"""The dashboard in a real browser: what is seen, what a click does, and that nothing leaves the machine."""

from __future__ import annotations

from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from selenium.webdriver import ActionChains, Keys
from selenium.webdriver.common.actions.action_builder import ActionBuilder

from dashboard.provider import LibraryProvider, RideView
from ridelog.report import heat_chain, render, tables
from ridelog.words import key_figures

pytestmark = pytest.mark.browser

DRAWN = "#stack .main-svg .trace"
RANGE = "return document.querySelector('#stack .js-plotly-plot').layout.xaxis.range.map(Number)"


@pytest.fixture(scope="module")
def view(sample_library: Path) -> RideView:
    """The sample ride with the most flagged stretches that has map, coolant and positions."""
    provider = LibraryProvider(sample_library)
    wanted = {"coolant_c", "map_slot", "lat_deg", "throttle_pct"}
    found = [provider.view_of(item.id) for item in provider.rides() if wanted <= set(item.channels)]
    return max(found, key=lambda view: len(view.analysis.segments))


def plain(text: str) -> str:
    return " ".join(text.replace("\u00a0", " ").split())


def clean(look: Any) -> None:
    """No word on the console, no failed request, and no request to another host."""
    asked, failed = look.traffic()
    assert look.complaints() == []
    assert failed == []
    here = urlsplit(look.base).netloc
    hosts = {urlsplit(address).netloc for address in asked if not address.startswith(("data:", "blob:", "about:"))}
    assert hosts == {here}


def open_ride(look: Any, view: RideView) -> None:
    look.open("/", "main table")
    look.open(f"/ride/{view.ride.id}", DRAWN)
    look.wait("#map .main-svg .trace")


@pytest.mark.parametrize("size", ["desk", "phone"])
def test_list_and_ride(size: str, view: RideView, request: pytest.FixtureRequest) -> None:
    look = request.getfixturevalue(size)
    look.open("/", "main table")
    assert view.ride.bike in look.text()
    assert look.driver.title == "Rides · ridelog"
    look.picture(f"rides-{size}")
    assert look.run("return document.documentElement.scrollWidth <= innerWidth")
    link = look.wait(f"a[href='/ride/{view.ride.id}']")
    look.run("arguments[0].scrollIntoView({block: 'center'})", link)
    link.click()
    look.wait(DRAWN)
    look.wait("#map .main-svg .trace")
    assert look.text("#answer") == plain(tables.answer(view.analysis))
    for figure in key_figures.key_figures(view.analysis):
        assert plain(figure.value) in look.text(".keys")
        assert plain(figure.note) in look.text(".keys")
    assert len(look.driver.find_elements("css selector", "tr.stretch")) == len(view.analysis.segments)
    assert "Leave a hot cooling system closed." in look.text()
    assert look.run("return document.documentElement.scrollWidth <= innerWidth")
    assert look.run(RANGE) == [0.0, pytest.approx(view.analysis.ride.duration_s)]
    bottom = look.run("return document.querySelector('#answer').getBoundingClientRect().bottom")
    assert bottom < look.run("return innerHeight")
    look.picture(f"ride-{size}")
    look.full_picture(f"ride-{size}-whole-page")
    clean(look)


@pytest.mark.parametrize("size", ["desk", "phone"])
def test_a_press_on_a_stretch_shows_it(size: str, view: RideView, request: pytest.FixtureRequest) -> None:
    look = request.getfixturevalue(size)
    open_ride(look, view)
    index = len(view.analysis.segments) // 2
    segment = view.analysis.segments[index]
    row = look.driver.find_elements("css selector", "tr.stretch")[index]
    marks = len(look.driver.find_elements("css selector", "#map .trace"))
    button = row.find_element("css selector", "button")
    look.run("arguments[0].scrollIntoView({block: 'center'})", button)
    button.click()
    look.until(lambda: look.run(RANGE)[1] < view.analysis.ride.duration_s)
    start, end = look.run(RANGE)
    assert start <= segment.start_s < segment.end_s <= end
    assert end - start < 3 * (segment.end_s - segment.start_s) + 60
    look.until(
        lambda: "chosen" in look.driver.find_elements("css selector", "tr.stretch")[index].get_attribute("class")
    )
    # the map marks the stretch, and the part of the course in view
    look.until(lambda: len(look.driver.find_elements("css selector", "#map .trace")) == marks + 2)
    look.until(lambda: look.run("return document.querySelector('#h-picture').getBoundingClientRect().top >= -1"))
    look.picture(f"ride-{size}-stretch")
    whole = look.wait("#view-whole")
    look.run("arguments[0].scrollIntoView({block: 'center'})", whole)
    whole.click()
    look.until(lambda: look.run(RANGE)[1] == pytest.approx(view.analysis.ride.duration_s))
    clean(look)


def test_a_click_on_the_strip_shows_its_stretch(desk: Any, view: RideView) -> None:
    open_ride(desk, view)
    bar = desk.wait("#stack .barlayer .point path")
    desk.run("arguments[0].scrollIntoView({block: 'center'})", bar)
    x, y = desk.run(
        "const r = arguments[0].getBoundingClientRect(); return [r.x + r.width / 2, r.y + r.height / 2]", bar
    )
    pointer = ActionBuilder(desk.driver)
    pointer.pointer_action.move_to_location(int(x), int(y)).pause(0.3).click()
    pointer.perform()
    desk.until(lambda: desk.run(RANGE)[1] - desk.run(RANGE)[0] < view.analysis.ride.duration_s / 2)
    desk.wait("tr.stretch.chosen")
    clean(desk)


def test_enter_on_a_stretch_does_the_same(desk: Any, view: RideView) -> None:
    open_ride(desk, view)
    first = desk.wait("tr.stretch button")
    desk.run("arguments[0].focus()", first)
    first.send_keys(Keys.ENTER)
    desk.until(lambda: desk.run(RANGE)[1] < view.analysis.ride.duration_s)
    clean(desk)


def test_a_drag_over_the_picture_brings_finer_samples(desk: Any, view: RideView) -> None:
    open_ride(desk, view)
    points = "return document.querySelector('#stack .js-plotly-plot')._fullData.find(t => t.name === 'throttle').x"
    before = [x for x in desk.run(f"return Array.from((function () {{ {points} }})())") if x is not None]
    area = desk.wait("#stack .nsewdrag")
    desk.run("arguments[0].scrollIntoView({block: 'center'})", area)
    ActionChains(desk.driver).move_to_element_with_offset(area, -100, 0).click_and_hold().move_by_offset(
        60, 0
    ).release().perform()
    desk.until(lambda: desk.run(RANGE)[1] < view.analysis.ride.duration_s)
    start, end = desk.run(RANGE)
    fresh = f"return Array.from((function () {{ {points} }})())"
    inside = len([x for x in before if start <= x <= end])
    desk.until(lambda: len([x for x in desk.run(fresh) if start <= x <= end]) > 1.5 * inside)
    desk.picture("ride-desk-drag")
    clean(desk)


def test_buttons_and_map_colour(desk: Any, view: RideView) -> None:
    open_ride(desk, view)
    desk.wait("#view-closer").click()
    half = view.analysis.ride.duration_s / 2
    desk.until(lambda: desk.run(RANGE)[1] - desk.run(RANGE)[0] == pytest.approx(half, rel=0.01))
    before = desk.run(RANGE)
    desk.wait("#view-later").click()
    desk.until(lambda: desk.run(RANGE)[0] > before[0])
    desk.driver.find_elements("css selector", "#map-color label")[1].click()
    desk.wait("#map .colorbar, #map .infolayer .cbfill, #map .cbfill")
    desk.picture("ride-desk-coolant-map")
    clean(desk)


def test_hover_reads_all_panels(desk: Any, view: RideView) -> None:
    open_ride(desk, view)
    area = desk.wait("#stack .nsewdrag")
    desk.run("arguments[0].scrollIntoView({block: 'center'})", area)
    ActionChains(desk.driver).move_to_element_with_offset(area, -150, 0).perform()
    box = desk.until(
        lambda: desk.run(
            "const box = document.querySelector('#stack .hoverlayer .legend'); return box && box.textContent"
        )
    )
    for word in ("coolant", "heat in", "heat out", "settle", "speed", "throttle", "°C", "K/s", "km/h"):
        assert word in box
    desk.picture("ride-desk-hover")


@pytest.mark.parametrize("size", ["desk", "phone"])
def test_a_settle_temperature_leads_back_to_its_samples(
    size: str, view: RideView, request: pytest.FixtureRequest
) -> None:
    look = request.getfixturevalue(size)
    open_ride(look, view)
    told = [index for index, segment in enumerate(view.analysis.segments) if segment.settle_c is not None]
    chosen = next(index for index in told if index != heat_chain.hottest(view.analysis.segments))
    for summary in look.driver.find_elements("css selector", "#h-model ~ details > summary"):
        look.run("arguments[0].scrollIntoView({block: 'center'})", summary)
        summary.click()
    assert "dT/dt" in look.text()
    row = look.driver.find_elements("css selector", "tr.stretch")[chosen]
    button = row.find_element("css selector", "button")
    look.run("arguments[0].scrollIntoView({block: 'center'})", button)
    button.click()
    look.until(lambda: f"Stretch {chosen + 1}, from" in look.text("#chain"))
    found = heat_chain.chain(view.analysis.segments[chosen], view.traces, view.bike)
    assert found is not None
    for _, _, figure, _ in heat_chain.chain_rows(found):
        assert plain(figure) in look.text("#chain")
    link = look.driver.find_element("css selector", "#chain a").get_attribute("href")
    table = look.driver.execute_async_script(
        "const done = arguments[arguments.length - 1]; fetch(arguments[0]).then(r => r.text()).then(done)", link
    )
    assert table.startswith("t_s,coolant_c,power_kw")
    assert len(table.splitlines()) == view.traces.steps["t_s"].size + 1
    assert look.run("return document.documentElement.scrollWidth <= innerWidth")
    look.full_picture(f"ride-{size}-explained")
    clean(look)


def test_back_leads_to_the_list(desk: Any, view: RideView) -> None:
    desk.open("/", "main table")
    desk.wait(f"a[href='/ride/{view.ride.id}']").click()
    desk.wait(DRAWN)
    desk.driver.back()
    desk.until(lambda: desk.driver.title == "Rides · ridelog")
    clean(desk)


def test_every_sample_ride_opens_and_says_what_it_lacks(desk: Any, sample_library: Path) -> None:
    provider = LibraryProvider(sample_library)
    for item in provider.rides():
        desk.open(f"/ride/{item.id}", DRAWN)
        desk.until(lambda: "Take care" in desk.text())
        shown = provider.view_of(item.id)
        assert desk.text("#answer") == plain(tables.answer(shown.analysis))
        missing = tables.missing_text(set(item.channels))
        assert (f"Not logged: {missing}" in desk.text()) == bool(missing)
        if "coolant_c" not in item.channels:
            # Other rides of the bike let the time above be estimated; that it was not logged is said beside it.
            assert "estimated" in desk.text(".keys")
            assert "coolant was not logged" in desk.text(".keys")
            desk.full_picture("ride-desk-no-coolant")
        if shown.analysis.ride.gaps:
            assert len(desk.driver.find_elements("css selector", "#stack .shapelayer path")) > 0
            desk.full_picture("ride-desk-gaps")
        clean(desk)


def test_an_unknown_ride_is_a_page_that_helps(desk: Any) -> None:
    desk.open("/ride/none-such", ".message")
    assert "This ride is not in the library" in desk.text()
    desk.picture("no-such-ride")
    (told,) = desk.complaints()  # the browser's own word on the status of the document
    assert "status of 404" in told
    assert desk.traffic()[1] == [f"404 {desk.base}/ride/none-such"]
    desk.wait("a.back").click()
    desk.wait("main table")
    clean(desk)


def test_the_report_draws_offline_and_prints_on_paper(desk: Any, view: RideView, tmp_path: Path) -> None:
    import base64

    report = tmp_path / "report.html"
    report.write_text(render(view.analysis, view.traces, view.ride, view.bike, advice=view.advice), encoding="utf-8")
    desk.traffic()
    desk.driver.get(report.as_uri())
    desk.wait(DRAWN)
    desk.wait("#map .main-svg .trace")
    desk.full_picture("report-desk")
    assert desk.complaints() == []
    asked, failed = desk.traffic()
    assert failed == []
    assert [address for address in asked if not address.startswith(("file:", "data:", "blob:"))] == []
    height = "return ['#stack', '#map'].map(name => document.querySelector(name).offsetHeight)"
    on_screen = desk.run(height)
    for _ in range(2):  # what is printed twice comes out the same, and the screen is as it was
        desk.run("window.dispatchEvent(new Event('beforeprint'))")
        on_paper = desk.run(height)
        assert on_paper[0] == pytest.approx(0.64 * on_screen[0], abs=1)
        desk.run("window.dispatchEvent(new Event('afterprint'))")
        assert desk.run(height) == on_screen
    printed = desk.driver.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True, "printBackground": False})
    paper = base64.b64decode(printed["data"])
    (Path(__file__).parent / "pictures" / "report.pdf").write_bytes(paper)
    pages = paper.count(b"/Type /Page\n") + paper.count(b"/Type /Page ") + paper.count(b"/Type /Page/")
    assert 1 <= pages <= 5
