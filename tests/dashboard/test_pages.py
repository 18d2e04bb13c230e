"""Pages as components: what a reader finds on them."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import datetime
from types import ModuleType
from typing import Any

import pytest
from page_text import parts, words
from plotly.utils import PlotlyJSONEncoder

from dashboard import config, ids
from dashboard.callbacks.routing import page
from dashboard.look import Look
from dashboard.pages import rides
from dashboard.pages.ride_tables import stretches_of
from dashboard.views import RideList
from ridelog.errors import LibraryError, NotInLibrary


@pytest.fixture
def provider(fakes: ModuleType) -> Any:
    return fakes.FakeProvider(fakes.make_view())


def test_the_list_names_what_a_rider_looks_for(provider: Any, fakes: ModuleType) -> None:
    shown, title = page(provider, "/")
    text = words(shown)
    for expected in (
        "17 May 2026, 10:12 UTC+2", "dune-07", "50 min 00 s", "32.4 km", "112 °C", "nothing missing",
        "day not known", "not named", "had a fault", "no coolant, no map switch, no speed, no position",
    ):  # fmt: skip
        assert expected in text
    links = [part.href for part in parts(shown) if getattr(part, "href", None)]
    assert f"/ride/{fakes.RIDE_ID}" in links
    assert title == "Rides · ridelog"


def test_a_start_without_a_zone_says_so_in_the_list(provider: Any) -> None:
    item = replace(provider.rides()[0], start_utc=None, start_local=datetime(2026, 5, 24, 10, 15), timezone=None)  # noqa: DTZ001
    assert "24 May 2026, 10:15 (time zone not known)" in words(rides.layout(RideList((item,)), Look()))


def test_the_peak_of_the_list_is_that_of_the_page(provider: Any) -> None:
    assert "110.5 °C" in words(rides.layout(RideList((replace(provider.rides()[0], peak_c=110.5),)), Look()))


def test_a_ride_whose_bike_is_gone_is_not_called_missing(
    provider: Any, fakes: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(_: object) -> None:
        raise NotInLibrary("no bike 'dune-07'", where="library", to_do="add it")

    monkeypatch.setattr(provider, "view_of", fail)
    assert "no bike 'dune-07'" in words(page(provider, f"/ride/{fakes.RIDE_ID}")[0])


def test_keys_left_to_their_default_stand_behind_words(provider: Any, fakes: ModuleType) -> None:
    shown, _ = page(provider, f"/ride/{fakes.RIDE_ID}")
    details = [part for part in parts(shown) if type(part).__name__ == "Details"]
    details = [part for part in details if "left to the default" in words(part.children[0])]
    assert [words(part.children[0]) for part in details] == [
        "advice sheet built-in: 1 whole rule left to the default",
        "bike file: 2 keys of mass and engine left to the default",
    ]
    assert "mass.total_kg, engine.power_curve_kw" in words(details[1])


def test_an_empty_library_tells_what_to_do(provider: Any) -> None:
    provider.empty = True
    text = words(page(provider, "/")[0])
    assert "ridelog import FILE" in text
    assert "ridelog demo" in text


def test_the_page_of_a_ride_answers_first(provider: Any, fakes: ModuleType) -> None:
    shown, title = page(provider, f"/ride/{fakes.RIDE_ID}")
    text = words(shown)
    assert text.index("The coolant peaked at 112 °C") < text.index("Peak coolant")
    for expected in (
        "coolant known for 96 % of the ride", "On the conservative map where advised 43 %",
        "Deep-drag ground (uncertain)",
        "○ not switched", "The sensor allows", "2 min 40 s to 4 min 04 s", "Did the wheel spin or the clutch slip?",
        "turned into C (2,880 rows)", "mass.total_kg", "Leave a hot cooling system closed.", "SHA-256 9f86d081884c",
    ):  # fmt: skip
        assert expected in text, expected
    assert title == "dune-07, 17 May 2026, 10:12 UTC+2 · ridelog"


def test_the_page_has_its_figures_buttons_and_report(provider: Any, fakes: ModuleType) -> None:
    shown, _ = page(provider, f"/ride/{fakes.RIDE_ID}")
    found = {part.id: part for part in parts(shown) if isinstance(getattr(part, "id", None), str)}
    for name in (ids.STACK, ids.MAP, ids.WHOLE, ids.CLOSER, ids.WIDER, ids.EARLIER, ids.LATER, ids.VIEW, ids.RIDE):
        assert name in found
    assert found[ids.STACK].style["height"] == f"{found[ids.STACK].figure.layout.height}px"
    assert [part.id for part in rows_of(shown)] == [ids.row(index) for index in range(7)]
    links = [part.href for part in parts(shown) if getattr(part, "href", None)]
    assert f"/ride/{fakes.RIDE_ID}/report.html" in links


def test_every_button_and_every_scrolling_box_can_be_reached_and_named(provider: Any, fakes: ModuleType) -> None:
    shown, _ = page(provider, f"/ride/{fakes.RIDE_ID}")
    buttons = [part for part in parts(shown) if type(part).__name__ == "Button"]
    # the twelve of picture and table carry signs; the others their own words
    assert len([part for part in buttons if "aria-label" in part.to_plotly_json()["props"]]) == 12
    assert all(words(part) for part in buttons)
    boxes = [part for part in parts(shown) if "scroll" in str(getattr(part, "className", "")).split()]
    assert boxes
    for box in boxes:
        assert box.tabIndex == "0"
        assert "aria-label" in box.to_plotly_json()["props"]


def test_a_poor_ride_says_what_it_lacks(fakes: ModuleType) -> None:
    view = fakes.make_view(600.0, gap=False, channels={"engine_rpm"})
    analysis = replace(view.analysis, segments=(), exposure=(), boiling=None, quality=(), summary=())
    poor = fakes.FakeProvider(fakes.changed(view, analysis=analysis, with_bike=False))
    text = words(page(poor, f"/ride/{fakes.RIDE_ID}")[0])
    for expected in (
        "holds too little to tell", "Coolant is not shown: the log holds no coolant temperature.",
        "holds no positions, so there is no map", "No stretch of this ride met a rule",
        "Coolant was not logged", "Not logged: no coolant, no map switch, no throttle, no speed, no position",
    ):  # fmt: skip
        assert expected in text, expected


@pytest.mark.parametrize(
    "path", ["/ride/nope", "/ride/..%2F..%2Fetc%2Fpasswd", "/ride/%00", "/ride/%3Cscript%3Ealert(1)%3C%2Fscript%3E"]
)
def test_an_unknown_ride_is_a_page_that_helps(provider: Any, path: str) -> None:
    shown, title = page(provider, path)
    assert "not in the library" in words(shown)
    assert "ridelog rides" not in words(shown)  # the list is a click away
    assert title == "Not found · ridelog"
    assert any(getattr(part, "href", None) == "/" for part in parts(shown))


@pytest.mark.parametrize("path", ["/rides", "/ride", "/ride/a/b", "/../etc", "//elsewhere.example/x"])
def test_an_unknown_address_is_a_page_that_helps(provider: Any, path: str) -> None:
    assert "There is no such page" in words(page(provider, path)[0])


def test_an_error_of_the_library_is_shown_in_its_words(provider: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(_: object) -> None:
        raise LibraryError("the ride file is damaged", where="r.parquet", to_do="import the log again")

    monkeypatch.setattr(provider, "view_of", fail)
    assert "r.parquet: the ride file is damaged" in words(page(provider, "/ride/x")[0])


def test_a_fault_of_ours_shows_no_traceback(
    provider: Any, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def fail(_: object) -> None:
        raise ZeroDivisionError("secret detail")

    monkeypatch.setattr(provider, "view_of", fail)
    text = words(page(provider, "/ride/x")[0])
    assert "fault of the program" in text
    assert "secret detail" not in text
    assert "secret detail" in caplog.text


def test_the_map_offers_coolant_only_where_it_was_logged(provider: Any, fakes: ModuleType) -> None:
    without = fakes.FakeProvider(fakes.make_view(channels={"lat_deg", "lon_deg", "gps_speed_mps"}))
    offered = []
    for source in (provider, without):
        shown, _ = page(source, f"/ride/{fakes.RIDE_ID}")
        choice = next(part for part in parts(shown) if getattr(part, "id", None) == ids.MAP_COLOR)
        offered.append([option.get("disabled", False) for option in choice.options])
    assert offered == [[False, False], [False, True]]


def test_a_long_day_comes_in_parts(fakes: ModuleType) -> None:
    view = fakes.make_view(36_000.0, rate_hz=2.0, gap=False)
    one = view.analysis.segments[0]
    many = tuple(replace(one, start_s=100.0 * n, end_s=100.0 * n + 60.0) for n in range(350))
    busy = fakes.changed(view, analysis=replace(view.analysis, segments=many))
    shown, _ = page(fakes.FakeProvider(busy), f"/ride/{fakes.RIDE_ID}")
    assert len(rows_of(shown)) == config.STRETCHES
    assert f"Show all 350 stretches; the first {config.STRETCHES} are here" in words(shown)
    assert len(json.dumps(shown, cls=PlotlyJSONEncoder)) < 1_000_000
    everything = rows_of(stretches_of(busy, Look(), selected=349))
    assert len(everything) == 350
    assert everything[349].className == "stretch chosen"


def rows_of(shown: Any) -> list[Any]:
    """The rows of the table of stretches."""
    named = [part for part in parts(shown) if isinstance(getattr(part, "id", None), dict)]
    return [part for part in named if part.id["type"] == ids.ROW]
