"""The part of a ride in the address, the switch of the other map, and doubtful data, in a real browser."""

from __future__ import annotations

from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest

from dashboard.provider import LibraryProvider, RideView
from ridelog.report import tables

pytestmark = pytest.mark.browser

DRAWN = "#stack .main-svg .trace"
RANGE = "return document.querySelector('#stack .js-plotly-plot').layout.xaxis.range.map(Number)"
NAMES = "return document.querySelector('#stack .js-plotly-plot').data.map(trace => trace.name)"
WHAT_IF_LINE = "on the conservative map the coolant would be"


def ride_with(library: Path, *, doubts: bool) -> RideView:
    """A sample ride with flagged stretches where the other map can be told, and with doubtful data or a map."""
    provider = LibraryProvider(library)
    for item in provider.rides():
        view = provider.view_of(item.id)
        told = doubts or tables.what_if_open(view.analysis) is None
        if view.analysis.segments and told and (view.analysis.quality or not doubts):
            return view
    raise AssertionError("no sample ride fits")


@pytest.fixture(scope="module")
def view(sample_library: Path) -> RideView:
    return ride_with(sample_library, doubts=False)


def query(look: Any) -> dict[str, list[str]]:
    return parse_qs(urlsplit(look.driver.current_url).query)


def press(look: Any, selector: str) -> None:
    found = look.wait(selector)
    look.run("arguments[0].scrollIntoView({block: 'center'})", found)
    found.click()


def at(look: Any, start: float, end: float) -> None:
    look.until(lambda: look.run(RANGE) == [pytest.approx(start, abs=0.06), pytest.approx(end, abs=0.06)])


def clean(look: Any) -> None:
    assert look.complaints() == []
    assert look.traffic()[1] == []


@pytest.mark.parametrize("size", ["desk", "phone"])
def test_a_zoom_is_an_address(size: str, view: RideView, request: pytest.FixtureRequest) -> None:
    look = request.getfixturevalue(size)
    whole_s = view.analysis.ride.duration_s
    look.open(f"/ride/{view.ride.id}", DRAWN)
    assert query(look) == {}
    press(look, "tr.stretch button")
    look.until(lambda: "stretch" in query(look))
    asked = query(look)
    start, end = float(asked["from"][0]), float(asked["to"][0])
    at(look, start, end)
    assert asked["stretch"] == ["1"]
    look.driver.back()
    at(look, 0.0, whole_s)
    assert query(look) == {}
    assert not look.driver.find_elements("css selector", "tr.stretch.chosen")
    look.driver.forward()
    at(look, start, end)
    look.driver.refresh()
    look.wait(DRAWN)
    at(look, start, end)
    look.wait("tr.stretch.chosen")
    clean(look)


def test_presses_in_a_row_are_one_step_back(desk: Any, view: RideView) -> None:
    desk.open("/", "main table")
    desk.open(f"/ride/{view.ride.id}", DRAWN)
    whole_s = view.analysis.ride.duration_s
    # a clock that stands: on a slow machine the presses of a test are not quick
    desk.run("const now = Date.now(); Date.now = () => now + (window.later || 0)")
    for n in range(1, 4):
        closer(desk, whole_s / 2**n)
    desk.run("window.later = 5000")
    closer(desk, whole_s / 16)
    # how long the history is can't be asked: a browser counts no further than fifty
    desk.driver.back()
    desk.until(lambda: desk.run(RANGE)[1] - desk.run(RANGE)[0] == pytest.approx(whole_s / 8, rel=0.01))
    desk.driver.back()
    at(desk, 0.0, whole_s)
    desk.driver.back()
    desk.until(lambda: desk.driver.title == "Rides · ridelog")
    clean(desk)


def closer(look: Any, span_s: float) -> None:
    press(look, "#view-closer")
    look.until(lambda: look.run(RANGE)[1] - look.run(RANGE)[0] == pytest.approx(span_s, rel=0.01))
    look.until(lambda: "from" in query(look))
    start, end = look.run(RANGE)
    look.until(
        lambda: float(query(look)["to"][0]) - float(query(look)["from"][0]) == pytest.approx(end - start, abs=0.2)
    )


@pytest.mark.parametrize(
    ("search", "words"),
    [
        ("from=abc", "from=abc"),
        ("from=300&to=120", "which is no part of this ride"),
        ("stretch=99", "flagged stretches are numbered"),
        ("what-if=%3Cb%3Emaybe%3C/b%3E", "<b>maybe</b>"),
    ],
)
def test_what_can_t_be_shown_is_said(desk: Any, view: RideView, search: str, words: str) -> None:
    desk.open(f"/ride/{view.ride.id}?{search}", DRAWN)
    assert words in desk.text("#view-said")
    at(desk, 0.0, view.analysis.ride.duration_s)
    clean(desk)


@pytest.mark.parametrize("size", ["desk", "phone"])
def test_the_other_map_is_drawn_beside_what_was(size: str, view: RideView, request: pytest.FixtureRequest) -> None:
    look = request.getfixturevalue(size)
    look.open(f"/ride/{view.ride.id}", DRAWN)
    assert WHAT_IF_LINE not in look.run(NAMES)
    press(look, "#what-if label")
    look.until(lambda: WHAT_IF_LINE in look.run(NAMES))
    look.until(lambda: query(look) == {"what-if": ["on"]})
    for cell in tables.what_if_by_threshold(view.analysis):
        assert " ".join(cell.replace("\u00a0", " ").split()) in look.text("#exposure")
    look.picture(f"ride-{size}-what-if")
    press(look, "tr.stretch button")
    look.until(lambda: "stretch" in query(look))
    assert query(look)["what-if"] == ["on"]
    # a link to another part of the ride keeps the switch, and is a step of its own
    press(look, "#asked-minute > summary")
    press(look, "#asked-minute a")
    look.until(lambda: "stretch" not in query(look) and query(look).get("what-if") == ["on"])
    look.until(lambda: look.run(RANGE)[1] < view.analysis.ride.duration_s)
    assert WHAT_IF_LINE in look.run(NAMES)
    assert look.run("return document.querySelector('#what-if input').checked")
    look.driver.back()
    look.until(lambda: "stretch" in query(look))
    look.driver.back()
    look.until(lambda: query(look) == {"what-if": ["on"]})
    look.driver.back()
    look.until(lambda: WHAT_IF_LINE not in look.run(NAMES))
    look.until(lambda: not look.run("return document.querySelector('#what-if input').checked"))
    assert tables.WHAT_IF_ROW not in look.text("#exposure")
    clean(look)


@pytest.mark.parametrize("size", ["desk", "phone"])
def test_doubtful_data_is_marked_and_found(size: str, sample_library: Path, request: pytest.FixtureRequest) -> None:
    look = request.getfixturevalue(size)
    doubtful = ride_with(sample_library, doubts=True)
    look.open(f"/ride/{doubtful.ride.id}", DRAWN)
    assert "doubtful data" in look.run(NAMES)
    rows = tables.quality_rows(doubtful.analysis)
    links = look.driver.find_elements("css selector", "[aria-labelledby=h-doubtful] a")
    assert [link.get_attribute("textContent") for link in links] == [row[2] for row in rows[: len(links)]]
    look.run("arguments[0].scrollIntoView({block: 'center'})", links[0])
    links[0].click()
    look.until(lambda: "from" in query(look))
    first = min(mark.start_s for mark in doubtful.analysis.quality)
    look.until(lambda: look.run(RANGE)[1] < doubtful.analysis.ride.duration_s)
    start, end = look.run(RANGE)
    assert start <= first <= end
    look.until(lambda: look.run("return document.querySelector('#h-picture').getBoundingClientRect().top >= -1"))
    look.picture(f"ride-{size}-doubtful")
    clean(look)
