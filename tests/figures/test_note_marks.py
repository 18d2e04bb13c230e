"""Notes on the picture: where their marks stand, what they say, and that none is lost where they crowd."""

from __future__ import annotations

from dataclasses import replace
from types import ModuleType
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridelog.figures.note_marks import NOTE_LANE, marks
from ridelog.figures.ride_stack import View, ride_stack
from ridelog.figures.theme import DARK, INK, PAPER
from ridelog.report.note_list import note_rows
from ridelog.results import TimelineNote

NOTES = (
    TimelineNote(300.0, "map_conservative", "switched <b>map</b> & went on"),
    TimelineNote(1200.0, "stop", "waited at the gate"),
    TimelineNote(1201.0, "coolant_lost", "coolant at the overflow"),
)


@pytest.fixture(scope="module")
def view(fakes: ModuleType) -> Any:
    made = fakes.make_view()
    return fakes.changed(made, analysis=replace(made.analysis, notes=NOTES))


def drawn(ride: Any, **how: Any) -> Any:
    return ride_stack(ride.analysis, ride.lines, ride.bike, ride.advice, **how)


def test_a_note_is_a_numbered_mark_on_the_strip(view: Any, fakes: ModuleType) -> None:
    figure = drawn(view)
    points = next(one for one in figure.data if one.name == "note")
    assert list(points.x) == [300.0, 1200.5]
    assert set(points.y) == {NOTE_LANE}
    numbers = [one.text for one in figure.layout.annotations if one.y == NOTE_LANE]
    assert numbers == ["<b>1</b>", "<b>2–3</b>"]
    strip = figure.layout[points.yaxis.replace("y", "yaxis")]
    assert strip.range[1] > NOTE_LANE
    assert "Note" in strip.ticktext
    assert figure.layout.height > drawn(fakes.make_view()).layout.height


def test_what_somebody_wrote_is_no_tag(view: Any) -> None:
    points = next(one for one in drawn(view).data if one.name == "note")
    assert "switched &lt;b&gt;map&lt;/b&gt; &amp; went on" in points.text[0]
    assert "2: 0:20:00" in points.text[1]
    assert "3: 0:20:01" in points.text[1]


def test_closer_looking_parts_notes_and_drops_those_outside(view: Any) -> None:
    points = next(one for one in drawn(view, view=View(1190.0, 1210.0)).data if one.name == "note")
    assert list(points.x) == [1200.0, 1201.0]


def test_marks_turn_with_the_ground(view: Any) -> None:
    for dark, ground, text in ((False, INK, PAPER), (True, DARK[INK], DARK[PAPER])):
        mark = next(one for one in drawn(view, dark=dark).layout.annotations if one.y == NOTE_LANE)
        assert (mark.bgcolor, mark.font.color) == (ground, text)


def test_a_ride_without_notes_has_no_lane(fakes: ModuleType) -> None:
    bare = fakes.make_view()
    assert "note" not in {one.name for one in drawn(bare).data}
    assert note_rows(bare.analysis) == []


def test_the_list_beside_counts_as_the_marks_do(view: Any) -> None:
    rows = note_rows(view.analysis)
    assert [row[:2] for row in rows] == [("1", "0:05:00"), ("2", "0:20:00"), ("3", "0:20:01")]
    assert rows[0][2] == "“switched <b>map</b> & went on”"
    assert rows[0][3] == "On the conservative map from here"


@given(st.lists(st.floats(0.0, 3600.0), max_size=40), st.floats(0.0, 3000.0), st.floats(2.0, 3600.0), st.booleans())
def test_every_note_in_view_is_in_one_mark(times: list[float], start: float, span: float, touch: bool) -> None:
    notes = [TimelineNote(at_s, "other", f"at {at_s}") for at_s in sorted(times)]
    shown = View(start, start + span, touch=touch)
    found = marks(notes, shown)
    inside = [number for number, note in enumerate(notes, 1) if start <= note.at_s <= start + span]
    assert [number for mark in found for number in range(mark.first, mark.last + 1)] == inside
    assert [note for mark in found for note in mark.notes] == [notes[number - 1] for number in inside]
    assert all(mark.notes[0].at_s <= mark.at_s <= mark.notes[-1].at_s for mark in found)
