"""Key figures and rows: what they say, and that what can't be told is said and not shown as nought."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from types import ModuleType
from typing import Any

import pytest

from ridelog.report import tables
from ridelog.results import Boiling


@pytest.fixture(scope="module")
def view(fakes: ModuleType) -> Any:
    return fakes.make_view()


def values(analysis: Any) -> dict[str, tuple[str, str]]:
    return {
        figure.label: (figure.value.replace("\u00a0", " "), figure.note.replace("\u00a0", " "))
        for figure in tables.key_figures(analysis)
    }


def test_the_highest_threshold_that_was_passed_leads(view: Any) -> None:
    assert values(view.analysis)["Time above 105 °C (hot)".replace(" °", "\u00a0°")] == (
        "3 min 25 s",
        "the sensor allows 2 min 40 s to 4 min 04 s, not known for 2 min 00 s",
    )


def test_the_lowest_threshold_leads_where_none_was_passed(view: Any) -> None:
    calm = tuple(
        replace(row, observed_s=0.0, observed_low_s=0.0, observed_high_s=0.0) for row in view.analysis.exposure
    )
    labels = [f.label.replace("\u00a0", " ") for f in tables.key_figures(replace(view.analysis, exposure=calm))]
    assert "Time above 95 °C (warm)" in labels


def test_a_threshold_the_sensor_may_have_passed_is_not_hidden(view: Any) -> None:
    rows = list(view.analysis.exposure)
    rows[2] = replace(rows[2], observed_high_s=12.0)
    labels = [f.label.replace("\u00a0", " ") for f in tables.key_figures(replace(view.analysis, exposure=tuple(rows)))]
    assert "Time above 115 °C (limit)" in labels


@pytest.mark.parametrize(
    ("sealed", "vented", "words"),
    [
        (16.4, 2.0, "with a leaking cap, to a sealed one"),
        (16.4, -4.8, "may have boiled if the cap leaked, not if it sealed"),
        (-1.0, -22.0, "over the boiling point, even with a sealed cap"),
    ],
)
def test_boiling_margin(view: Any, sealed: float, vented: float, words: str) -> None:
    boiling = Boiling(128.0, 107.0, sealed, vented, 205.0, 95.0)
    assert values(replace(view.analysis, boiling=boiling))["Margin to boiling at the peak"][1] == words


def test_adherence_three_ways(view: Any) -> None:
    label = "On the conservative map where advised"
    adherence = view.analysis.adherence
    assert values(view.analysis)[label][0] == "43 %"
    unknown = replace(adherence, share=None, conservative_s=None)
    assert values(replace(view.analysis, adherence=unknown))[label] == (
        "can't tell",
        "9 min 40 s advised, map not logged",
    )
    none = replace(adherence, advised_s=0.0, share=None)
    assert values(replace(view.analysis, adherence=none))[label] == ("–", "no stretch called for it")


def test_an_unknown_verdict_says_whether_the_map_was_logged_at_all(fakes: ModuleType) -> None:
    logged = tables.segment_rows(fakes.make_view().analysis)[5].cells[-1]
    without = tables.segment_rows(fakes.make_view(channels={"coolant_c"}).analysis)[5].cells[-1]
    assert logged == "? can't tell: map not known here"
    assert without == "? can't tell: map not logged"


def test_rows_have_the_columns_they_are_named_for(view: Any) -> None:
    assert {len(row.cells) for row in tables.segment_rows(view.analysis)} == {len(tables.SEGMENT_COLUMNS)}
    assert {len(row) for row in tables.exposure_rows(view.analysis)} == {len(tables.EXPOSURE_COLUMNS)}
    assert {len(row) for row in tables.quality_rows(view.analysis)} == {len(tables.QUALITY_COLUMNS)}
    assert {len(row) for row in tables.channel_rows(view.analysis)} == {len(tables.CHANNEL_COLUMNS)}
    heads, rows = tables.exposure_by_threshold(view.analysis)
    assert len(heads) == 1 + len(view.analysis.exposure)
    assert [row[0] for row in rows] == list(tables.EXPOSURE_COLUMNS[1:])


@pytest.mark.parametrize(
    ("start", "zone", "text"),
    [
        (datetime(2026, 5, 17, 8, 12, tzinfo=UTC), "Europe/Madrid", "17 May 2026, 10:12"),
        (datetime(2026, 10, 25, 1, 30, tzinfo=UTC), "Europe/Madrid", "25 October 2026, 02:30"),
        (datetime(2026, 5, 17, 8, 12, tzinfo=UTC), None, "17 May 2026, 08:12 UTC"),
        (datetime(2026, 5, 17, 8, 12, tzinfo=UTC), "Nowhere/At all", "17 May 2026, 08:12 UTC"),
        (datetime(2026, 5, 17, 8, 12, tzinfo=UTC), "../../etc/passwd", "17 May 2026, 08:12 UTC"),
        (None, "Europe/Madrid", ""),
    ],
)
def test_start_in_its_own_zone(start: datetime | None, zone: str | None, text: str) -> None:
    assert tables.local_time(start, zone) == text


def test_sentences_start_large_and_end(view: Any) -> None:
    for sentence in [
        *tables.note_sentences(view.ride),
        *(reason for _, reason in tables.cannot_tell_rows(view.analysis)),
    ]:
        assert sentence[0].isupper()
        assert sentence.endswith(".")


def test_a_number_and_its_unit_stay_on_one_line(view: Any) -> None:
    said = replace(view.analysis, summary=("Over 105 C for 1 min 08 s, 28 % of 3 km at 40 km/h.", "It took 2 steps."))
    assert tables.answer(said) == "Over 105~C for 1~min 08~s, 28~% of 3~km at 40~km/h.".replace("~", "\u00a0")
    assert tables.rest(said) == ["It took 2 steps."]


def test_the_legend_names_what_occurs_and_nothing_else(fakes: ModuleType) -> None:
    full = fakes.make_view()
    names = [name for name, _ in tables.legend(full.analysis, full.traces)]
    assert names == ["heavy_drag", "wide_open", "high_speed", "slow_climb", "standstill", "heat_only", "conservative",
                     "standard", "unknown"]  # fmt: skip
    poor = fakes.make_view(channels={"coolant_c"})
    assert tables.legend(replace(poor.analysis, segments=()), poor.traces) == [("unknown", "map not known")]


def test_coolant_that_was_never_known_is_not_nought_seconds(view: Any) -> None:
    # nought seconds seen, all of the ride unknown: a table that says 0 s would clear a ride nobody looked at
    blind = tuple(
        replace(row, observed_s=0.0, observed_low_s=0.0, observed_high_s=0.0, unknown_s=3000.0, excursions=0,
                longest_s=0.0, degree_s=0.0, peak_c=None)
        for row in view.analysis.exposure
    )  # fmt: skip
    analysis = replace(view.analysis, exposure=blind, boiling=None)
    figures = values(analysis)
    assert figures["Time above 95\u00a0°C (warm)"] == ("can't tell", "coolant was not logged")
    assert figures["Peak coolant"] == ("–", "coolant was not logged")
    for row in tables.exposure_rows(analysis):
        assert row[1:6] == ("can't tell", "–", "–", "–", "–")
        assert row[6].replace("\u00a0", " ") == "50 min 00 s"
