"""Doubtful data on the strip: every mark found, drawn wide enough to be seen, told on hovering."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from types import ModuleType
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridelog.figures.quality_marks import LEAST, SHOWN, distinct, doubts, trace
from ridelog.figures.ride_stack import View, ride_stack, whole
from ridelog.results import Mark

VIEW = View(0.0, 1000.0)
AXES = {"xaxis": "x", "yaxis": "y"}

MARKS = st.lists(
    st.builds(
        lambda channel, start, length: Mark(channel, "spike", start, start + length, "excluded", "seen"),
        st.sampled_from(["coolant_c", "engine_rpm", "lat_deg", "lon_deg"]),
        st.floats(-100.0, 1100.0),
        st.floats(0.0, 300.0),
    ),
    max_size=40,
)


@given(marks=MARKS)
def test_every_mark_in_view_lies_in_one_that_is_drawn(marks: list[Mark]) -> None:
    found = doubts(marks, VIEW)
    inside = [mark for mark in distinct(marks) if mark.end_s >= VIEW.start_s and mark.start_s <= VIEW.end_s]
    assert sum(len(one.marks) for one in found) == len(inside)
    for mark in inside:
        assert any(one.start_s <= mark.start_s and mark.end_s <= one.end_s for one in found)
    bars = trace(found, VIEW, 2.0, AXES)
    assert all(width >= LEAST * VIEW.span_s * 0.999 for width in bars["x"])
    # drawn ones stay apart, so that each can be pointed at
    assert all(a.end_s + LEAST * VIEW.span_s <= b.start_s for a, b in pairwise(found))


def test_latitude_and_longitude_are_one_position() -> None:
    both = [Mark(name, "jump", 5.0, 9.0, "excluded", "300 m in a second") for name in ("lat_deg", "lon_deg")]
    assert len(distinct(both)) == 1


def test_words_of_a_file_are_no_tags_and_many_are_counted() -> None:
    marks = [Mark("coolant_c", "spike", 1.0 * n, 1.0 * n, "kept", "<b>130 C</b>") for n in range(SHOWN + 3)]
    (text,) = trace(doubts(marks, VIEW), VIEW, 2.0, AXES)["hovertext"]
    assert "<b>" not in text
    assert "&lt;b&gt;" in text
    assert "and 3 more, in the list" in text


@pytest.fixture(scope="module")
def view(fakes: ModuleType) -> Any:
    return fakes.make_view()


def test_the_strip_has_a_lane_where_there_is_doubt(view: Any) -> None:
    def strip(analysis: Any) -> Any:
        figure = ride_stack(analysis, view.lines, view.bike, view.advice)
        return next(axis for axis in figure.select_yaxes() if axis.ticktext and "Map" in axis.ticktext), figure

    axis, figure = strip(view.analysis)
    (bars,) = [one for one in figure.data if one.name == "doubtful data"]
    assert "Doubt" in axis.ticktext
    assert axis.tickvals[list(axis.ticktext).index("Doubt")] == bars.y[0]
    mark = view.analysis.quality[0]
    assert bars.base[0] <= mark.start_s <= mark.end_s <= bars.base[0] + bars.x[0]
    assert "130 C for 2 s" in bars.hovertext[0]
    plain, other = strip(replace(view.analysis, quality=()))
    assert "Doubt" not in plain.ticktext
    assert other.layout.height < figure.layout.height


def test_heat_stands_first_and_the_strip_under_it(view: Any) -> None:
    figure = ride_stack(view.analysis, view.lines, view.bike, view.advice, view=whole(view.analysis))
    titles = {note.text: note.y for note in figure.layout.annotations if note.yref == "paper" and note.x == 0}
    order = [text for text, _ in sorted(titles.items(), key=lambda item: -item[1])]
    assert ["Coolant" in order[0], "stretches" in order[1], "Speed" in order[2]] == [True, True, True]
    # the times stand under the strip and once more at the foot
    ticks = set(figure.layout.xaxis.ticktext)
    foot = [note.text for note in figure.layout.annotations if note.yref == "paper" and note.y == 0]
    assert set(foot) == ticks
