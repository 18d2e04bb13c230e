"""Notes of a ride in the report: the list beside the marks, its words as text."""

from __future__ import annotations

from dataclasses import replace
from types import ModuleType

from ridelog.report import render
from ridelog.results import TimelineNote


def test_the_report_lists_notes_with_the_numbers_of_their_marks(fakes: ModuleType) -> None:
    view = fakes.make_view()
    notes = (
        TimelineNote(61.5, "coolant_lost", "</script><b>coolant</b> at the overflow"),
        TimelineNote(90.0, "other", "ok"),
    )
    noted = replace(view.analysis, notes=notes)
    html = render(noted, view.traces, view.ride, view.bike)
    assert "“&lt;/script&gt;&lt;b&gt;coolant&lt;/b&gt; at the overflow”" in html
    assert "0:01:01.5" in html
    assert "Coolant lost" in html
    assert html.count("</script><b>coolant") == 0
    assert "Notes on the ride" not in render(view.analysis, view.traces, view.ride, view.bike)
