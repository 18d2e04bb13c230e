"""The part of a ride in the address: what is written is read again, and nothing an address says can break a page."""

from __future__ import annotations

from dataclasses import replace
from types import ModuleType
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
from hypothesis import given
from hypothesis import strategies as st
from page_text import parts, words

from dashboard import ids
from dashboard.callbacks.routing import page
from dashboard.callbacks.zooming import Action, action_of, clicked_span, kind_of, next_step, next_view
from dashboard.ride_address import asked_in, query_of, view_of
from ridelog.figures.ride_stack import View, whole


@pytest.fixture(scope="module")
def view(fakes: ModuleType) -> Any:
    return fakes.make_view()


@pytest.fixture(scope="module")
def analysis(view: Any) -> Any:
    return view.analysis


@given(data=st.data())
def test_what_is_written_is_read_again(analysis: Any, data: st.DataObject) -> None:
    end = whole(analysis).end_s
    start = data.draw(st.floats(0.0, end - 2.0))
    shown = View(
        start,
        data.draw(st.floats(start + 2.0, end)),
        data.draw(st.none() | st.integers(0, len(analysis.segments) - 1)),
        what_if=data.draw(st.booleans()),
    )
    found = view_of(asked_in("?" + query_of(shown, analysis)), analysis)
    assert found.said == ""
    assert (found.view.selected, found.view.what_if) == (shown.selected, shown.what_if)
    assert found.view.start_s == pytest.approx(shown.start_s, abs=0.02)
    assert found.view.end_s == pytest.approx(shown.end_s, abs=0.02)
    # what was read says the same address again, or the page and its address would never agree
    again = view_of(asked_in("?" + query_of(found.view, analysis)), analysis).view
    assert query_of(again, analysis) == query_of(found.view, analysis)


def test_the_whole_ride_has_a_plain_address(analysis: Any) -> None:
    assert query_of(whole(analysis), analysis) == ""
    assert query_of(replace(whole(analysis), what_if=True), analysis) == "what-if=on"


def test_a_stretch_alone_is_shown_with_what_is_around_it(analysis: Any) -> None:
    found = view_of({"stretch": "2"}, analysis)
    segment = analysis.segments[1]
    assert found.view.selected == 1
    assert found.view.start_s < segment.start_s < segment.end_s < found.view.end_s
    assert found.view.span_s < 3 * (segment.end_s - segment.start_s) + 60


@pytest.mark.parametrize(
    "query",
    [
        {"from": "abc"}, {"from": "nan"}, {"to": "inf"}, {"from": "300", "to": "120"}, {"from": "5", "to": "5"},
        {"from": "99999999"}, {"to": "-4"}, {"from": "1e999"}, {"from": "0x10"},
    ],
)  # fmt: skip
def test_a_part_that_is_none_is_left_aside_and_said(analysis: Any, query: dict[str, str]) -> None:
    found = view_of(query, analysis)
    assert (found.view.start_s, found.view.end_s) == (0.0, whole(analysis).end_s)
    assert "no part of this ride" in found.said
    for name, value in query.items():
        assert f"{name}={value}" in found.said


@pytest.mark.parametrize("text", ["0", "99", "-1", "1.5", "two", "9" * 5000, "²"])
def test_a_stretch_that_is_not_there_is_said(analysis: Any, text: str) -> None:
    found = view_of({"stretch": text}, analysis)
    assert found.view.selected is None
    assert f"numbered 1 to {len(analysis.segments)}" in found.said
    assert len(found.said) < 200


def test_a_part_that_runs_over_the_end_is_cut(analysis: Any) -> None:
    found = view_of({"from": "-50", "to": "90000"}, analysis)
    assert found == type(found)(whole(analysis))
    assert view_of({"from": "2900", "to": "90000"}, analysis).view.end_s == whole(analysis).end_s


@given(search=st.text() | st.dictionaries(st.sampled_from(["from", "to", "stretch", "what-if", "x"]), st.text()).map(
    lambda asked: "?" + "&".join(f"{name}={value}" for name, value in asked.items())))  # fmt: skip
def test_any_address_shows_some_part(analysis: Any, search: str) -> None:
    shown = view_of(asked_in(search), analysis).view
    assert 0.0 <= shown.start_s < shown.end_s <= whole(analysis).end_s + 1e-6


def test_the_page_restores_what_the_address_says(fakes: ModuleType, view: Any) -> None:
    provider = fakes.FakeProvider(view)
    shown, _ = page(provider, f"/ride/{view.ride.id}", {"search": "?from=300&to=500&stretch=1"})
    by_id = {str(part.id): part for part in parts(shown) if getattr(part, "id", None) is not None}
    assert list(by_id[ids.STACK].figure.layout.xaxis.range) == [300.0, 500.0]
    assert by_id[ids.VIEW].data["query"] == "from=300&to=500&stretch=1"
    assert by_id[ids.VIEW].data["step"] == ""
    assert by_id[ids.VIEW_SAID].children == ""
    assert by_id[str(ids.row(0))].className == "stretch chosen"
    said, _ = page(provider, f"/ride/{view.ride.id}", {"search": "?from=<b>x</b>"})
    assert "“from=<b>x</b>”" in words(said)


def test_going_back_asks_for_what_the_address_says(view: Any, analysis: Any) -> None:
    here = View(100.0, 200.0, 2, touch=True)
    step = next_step(view, here, Action(search="?from=400&to=700"))
    assert step is not None
    assert step.view == View(400.0, 700.0, None, touch=True)
    whole_again = next_step(view, here, Action(search=""))
    assert whole_again is not None
    assert whole_again.view == replace(whole(analysis), touch=True)
    wrong = next_step(view, here, Action(search="?from=x"))
    assert wrong is not None
    assert "from=x" in wrong.said


def test_how_a_view_came_about_decides_its_place_in_the_history() -> None:
    assert kind_of(Action(ids.CLOSER)) == "press"
    assert kind_of(Action(what_if=True)) == "press"
    assert kind_of(Action(ids.row(1))) == kind_of(Action(relayout={})) == kind_of(Action(click={})) == "jump"
    assert kind_of(Action(search="")) == ""


def test_the_switch_is_told_from_a_redraw() -> None:
    redraw = "stack.relayoutData"
    assert action_of([redraw, "what-if.value"], {"autosize": True}, None, None, ["on"]) == Action(what_if=True)
    assert action_of(["what-if.value"], None, None, None, []) == Action(what_if=False)
    assert action_of(["view-asked.data"], None, None, {"search": "?from=1"}) == Action(search="?from=1")


def test_the_switch_keeps_the_part_in_view(view: Any) -> None:
    here = View(100.0, 200.0, 2)
    assert next_view(view, here, Action(what_if=True)) == replace(here, what_if=True)
    assert next_view(view, here, Action(what_if=False)) is None
    moved = next_view(view, replace(here, what_if=True), Action(ids.row(0)))
    assert moved is not None
    assert moved.what_if


def test_a_click_on_doubtful_data_shows_it(view: Any) -> None:
    after = next_view(view, whole(view.analysis), Action(click={"points": [{"customdata": [1200.0, 1202.0]}]}))
    assert after is not None
    assert after.start_s < 1200.0
    assert after.end_s > 1202.0
    assert after.span_s < 60.0
    for other in ("0:05:00", 3, True, [1, 2, 3], ["a", "b"], None):
        assert clicked_span({"points": [{"customdata": other}]}) is None


def test_lists_lead_to_their_moment(fakes: ModuleType, view: Any) -> None:
    """Doubtful data and notes: each link holds the moment it speaks of."""
    from ridelog.results import TimelineNote

    noted = fakes.changed(view, analysis=replace(view.analysis, notes=(TimelineNote(1803.0, "other", "gate"),)))
    shown, _ = page(fakes.FakeProvider(noted), f"/ride/{view.ride.id}")
    spans = []
    for part in parts(shown):
        asked = parse_qs(urlsplit(str(getattr(part, "href", ""))).query)
        if "from" in asked:
            spans.append((float(asked["from"][0]), float(asked["to"][0])))
    for moment in (1201.0, 1803.0):
        assert any(start < moment < end for start, end in spans)


def test_what_can_t_be_told_stands_in_place_of_the_switch(fakes: ModuleType, view: Any) -> None:
    shown, _ = page(fakes.FakeProvider(view), f"/ride/{view.ride.id}", {"search": "?what-if=on"})
    assert "The same ride on the conservative map can't be told: this ride has no heat balance." in words(shown)
    (switch,) = [part for part in parts(shown) if getattr(part, "id", None) == ids.WHAT_IF]
    assert switch.value == []
