"""Key figures and rows: what they say, and that what can't be told is said and not shown as nought."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from types import ModuleType
from typing import Any

import pytest

from ridelog.report import tables
from ridelog.report.sentences import moment, sentence, shown, start_text
from ridelog.results import Boiling
from ridelog.ride import LOCAL_START, Note, SourceFile, ride_day
from ridelog.words import basis, key_figures


@pytest.fixture(scope="module")
def view(fakes: ModuleType) -> Any:
    return fakes.make_view()


def values(analysis: Any) -> dict[str, tuple[str, str]]:
    return {
        figure.label: (figure.value.replace("\u00a0", " "), figure.note.replace("\u00a0", " "))
        for figure in key_figures.key_figures(analysis)
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
    labels = [f.label.replace("\u00a0", " ") for f in key_figures.key_figures(replace(view.analysis, exposure=calm))]
    assert "Time above 95 °C (warm)" in labels


def test_a_threshold_the_sensor_may_have_passed_is_not_hidden(view: Any) -> None:
    rows = list(view.analysis.exposure)
    rows[2] = replace(rows[2], observed_high_s=12.0)
    labels = [
        f.label.replace("\u00a0", " ") for f in key_figures.key_figures(replace(view.analysis, exposure=tuple(rows)))
    ]
    assert "Time above 115 °C (limit)" in labels


@pytest.mark.parametrize(
    ("sealed", "vented", "value", "words"),
    [
        (16.4, 2.0, "16 °C below", "the boiling point with a sealed cap; if the cap leaks, 2 °C below it"),
        (
            11.6, -10.9, "12 °C below",
            "the boiling point with a sealed cap; if the cap leaks, 11 °C above it: it may have boiled",
        ),
        (-1.0, -22.0, "1 °C above", "the boiling point even with a sealed cap; 22 °C above it if the cap leaks"),
    ],
)  # fmt: skip
def test_a_difference_to_boiling_says_so(view: Any, sealed: float, vented: float, value: str, words: str) -> None:
    boiling = Boiling(128.0, 107.0, sealed, vented, 205.0, 95.0)
    found = values(replace(view.analysis, boiling=boiling))["Coolant at its peak, against boiling"]
    assert found == (value, words)


@pytest.mark.parametrize(("peak", "text"), [(110.5, "110.5 °C"), (118.0, "118 °C"), (106.1, "106.1 °C")])
def test_the_peak_is_written_as_in_the_sentence(view: Any, peak: float, text: str) -> None:
    rows = tuple(replace(row, peak_c=peak) for row in view.analysis.exposure)
    said = replace(view.analysis, exposure=rows, summary=(f"Coolant peaked at {peak:g} C.",))
    assert values(said)["Peak coolant"][0] == text
    assert text in tables.answer(said).replace("\u00a0", " ")


@pytest.mark.parametrize(("step", "cell"), [(0.5, "96 → 110.5 °C"), (1.0, "96 → 110 °C"), (None, "96 → 110 °C")])
def test_a_stretchs_coolant_has_the_sensors_decimals(view: Any, step: float | None, cell: str) -> None:
    channel = replace(view.analysis.ride.channels["coolant_c"], resolution=step)
    facts = replace(view.analysis.ride, channels={**view.analysis.ride.channels, "coolant_c": channel})
    stretch = replace(view.analysis.segments[0], coolant_start_c=95.5, coolant_peak_c=110.5)
    (row,) = tables.segment_rows(replace(view.analysis, ride=facts, segments=(stretch,)))
    assert row.cells[6].replace("\u00a0", " ") == cell


def test_adherence_three_ways(view: Any) -> None:
    label = "On the conservative map where advised"
    adherence = view.analysis.adherence
    assert values(view.analysis)[label][0] == "43 %"
    unknown = replace(adherence, share=None, conservative_s=None)
    assert values(replace(view.analysis, adherence=unknown))[label] == (
        "can't tell",
        "9 min 40 s advised, map not known there",
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
        (datetime(2026, 5, 17, 8, 12, tzinfo=UTC), "Europe/Madrid", "17 May 2026, 10:12 UTC+2"),
        (datetime(2026, 10, 25, 0, 30, tzinfo=UTC), "Europe/Madrid", "25 October 2026, 02:30 UTC+2"),
        (datetime(2026, 10, 25, 1, 30, tzinfo=UTC), "Europe/Madrid", "25 October 2026, 02:30 UTC+1"),
        (datetime(2026, 5, 17, 8, 12, tzinfo=UTC), "+05:30", "17 May 2026, 13:42 UTC+5:30"),
        (datetime(2026, 5, 17, 1, 12, tzinfo=UTC), "-02:30", "16 May 2026, 22:42 UTC−2:30"),
        (datetime(2026, 5, 17, 8, 12, tzinfo=UTC), "UTC", "17 May 2026, 08:12 UTC"),
        (datetime(2026, 5, 17, 8, 12, tzinfo=UTC), None, "17 May 2026, 08:12 UTC"),
        (datetime(2026, 5, 17, 8, 12, tzinfo=UTC), "Nowhere/At all", "17 May 2026, 08:12 UTC"),
        (datetime(2026, 5, 17, 8, 12, tzinfo=UTC), "../../etc/passwd", "17 May 2026, 08:12 UTC"),
        (None, "Europe/Madrid", ""),
    ],
)
def test_start_in_its_own_zone(start: datetime | None, zone: str | None, text: str) -> None:
    assert moment(start, zone) == text


def test_a_start_without_a_zone_is_shown_and_says_so(view: Any) -> None:
    ride = replace(view.ride, start_utc=None, timezone=None, extra={LOCAL_START: "2026-05-24T10:15:00"})
    assert tables.title(ride) == "dune-07, 24 May 2026, 10:15 (time zone not known)"
    rows = dict(basis.basis_rows(view.analysis, ride, start_text(ride)))
    assert rows["Start"] == "24 May 2026, 10:15 (time zone not known)"
    assert ride_day(ride) == date(2026, 5, 24)
    undated = replace(ride, extra={})
    assert tables.title(undated) == "dune-07, day not known"
    assert ride_day(undated) is None
    told = replace(ride, start_utc=datetime(2026, 5, 24, 8, 15, tzinfo=UTC), timezone="+02:00")
    assert tables.title(told) == "dune-07, 24 May 2026, 10:15 UTC+2"


@pytest.mark.parametrize(
    ("utc", "zone", "day"),
    [
        (datetime(2026, 4, 30, 22, 30, tzinfo=UTC), "Europe/Madrid", date(2026, 5, 1)),
        (datetime(2026, 5, 1, 2, 30, tzinfo=UTC), "-04:00", date(2026, 4, 30)),
        (datetime(2026, 4, 30, 22, 30, tzinfo=UTC), "UTC", date(2026, 4, 30)),
        (datetime(2026, 4, 30, 22, 30, tzinfo=UTC), None, date(2026, 4, 30)),
        (datetime(2026, 4, 30, 22, 30, tzinfo=UTC), "../../etc/passwd", date(2026, 4, 30)),
        (datetime(2026, 4, 30, 22, 30, tzinfo=UTC), "Nowhere/At all", date(2026, 4, 30)),
    ],
)
def test_the_day_of_a_ride_is_that_of_its_own_clock(view: Any, utc: datetime, zone: str | None, day: date) -> None:
    assert ride_day(replace(view.ride, start_utc=utc, timezone=zone)) == day


def test_sentences_start_large_and_end(view: Any) -> None:
    for said in [
        *tables.note_sentences(view.ride),
        *(reason for _, reason in tables.cannot_tell_rows(view.analysis)),
    ]:
        assert said[0].isupper()
        assert said.endswith(".")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("120 C stands for no value", "120 °C stands for no value"),
        ("between 92 and 93 C.", "between 92 and 93 °C."),
        ("it rose 30 C/s", "it rose 30 °C/s"),
        ("118\u00a0C", "118 °C"),
        ("the coolant column says C", "the coolant column says C"),
        ("at 3 Celsius and 4 CAN frames", "at 3 Celsius and 4 CAN frames"),
        ("already 95 °C", "already 95 °C"),
    ],
)
def test_a_page_writes_degrees_in_one_way(text: str, told: str) -> None:
    assert shown(text).replace("\u00a0", " ") == told


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("rows without a time were left out", "Rows without a time were left out."),
        ("engine.csv: rows were left out", "engine.csv: rows were left out."),
        ("05-first-mud.csv.gz, track.gpx: read", "05-first-mud.csv.gz, track.gpx: read."),
        ("sunday loop.csv: read", "sunday loop.csv: read."),
        ("maps.slot_values names no slot", "maps.slot_values names no slot."),
        ("rule_x is odd", "rule_x is odd."),
        ("why? no bike file", "Why? no bike file."),
    ],
)
def test_a_file_name_or_key_keeps_its_letters(text: str, told: str) -> None:
    assert sentence(text, ("sunday loop.csv",)) == told


def test_notes_of_files_read_together_keep_the_files_names(view: Any) -> None:
    ride = replace(
        view.ride,
        sources=(SourceFile("my log", "0" * 64, 1, "csv"),),
        notes=(Note("row", "my log: rows were left out", 3),),
    )
    assert tables.note_sentences(ride) == ["my log: rows were left out (3 rows)."]


def test_rows_of_builds_belong_to_the_sheet() -> None:
    from types import SimpleNamespace

    for keys, words in (
        (("build",), "advice sheet 2026-01: all builds left to the default"),
        (
            ("build[1].min_fuel_ron", "rule.heavy_drag"),
            "advice sheet 2026-01: 1 whole rule and 1 build key left to the default",
        ),
    ):
        analysis: Any = SimpleNamespace(basis=SimpleNamespace(defaults_used=keys, advice_version="2026-01"))
        assert [group.words for group in basis.defaults(analysis)] == [words]


def test_defaults_are_told_in_words_with_their_keys_beside() -> None:
    from types import SimpleNamespace

    keys = (
        "mass.total_kg", "engine.power_curve_kw", "engine.fuel_ron", "thresholds", "ambient_c", "valid_from",
        "rule.heavy_drag", "rule.wide_open.merge_gap_s", "rule.wide_open.leave_share", "rule.high_speed.leave_share",
        "rule.high_speed.min_speed_mps",
    )  # fmt: skip
    analysis: Any = SimpleNamespace(basis=SimpleNamespace(defaults_used=keys, advice_version="2026-01"))
    found = basis.defaults(analysis)
    assert [group.words for group in found] == [
        "advice sheet 2026-01: 1 whole rule and 5 first day, pause, hysteresis and level keys left to the default",
        "bike file: 3 keys of mass and engine left to the default",
        "temperatures to watch: warm 95 °C, hot 105 °C, limit 115 °C",
        "air temperature: that of the standard atmosphere, since it was neither stated nor logged",
    ]
    assert sorted(key for group in found for key in group.keys) == sorted(keys)
    pauses: Any = SimpleNamespace(
        basis=SimpleNamespace(
            defaults_used=("rule.standstill.merge_gap_s", "rule.standstill.leave_share"), advice_version="2026-01"
        )
    )
    assert [group.words for group in basis.defaults(pauses)] == [
        "advice sheet 2026-01: 2 pause and hysteresis keys left to the default"
    ]


def test_the_fingerprint_says_what_it_is_of(view: Any) -> None:
    text = dict(basis.basis_rows(view.analysis, view.ride, start_text(view.ride)))["Settings"]
    assert view.analysis.basis.settings_hash[:12] in text
    assert "fingerprint" in text
    assert "bike file, advice sheet" in text


def test_doubtful_data_is_told_in_words(view: Any) -> None:
    mark = replace(view.analysis.quality[0], kind="impossible_rate", detail="130 C is reached too fast")
    (row,) = tables.quality_rows(replace(view.analysis, quality=(mark,)))
    assert row[1] == "impossible step"
    assert row[5].replace("\u00a0", " ") == "130 °C is reached too fast"


def test_a_mark_on_both_coordinates_is_one_row(view: Any) -> None:
    one = replace(view.analysis.quality[0], channel="lat_deg", kind="position_jump", detail="a leap of 300 m")
    other = replace(one, channel="lon_deg")
    later = replace(other, start_s=other.start_s + 60.0, end_s=other.end_s + 60.0)
    rows = tables.quality_rows(replace(view.analysis, quality=(one, other, later)))
    assert len(rows) == len(set(rows)) == 2
    assert {row[0] for row in rows} == {"position"}


def test_a_number_and_its_unit_stay_on_one_line(view: Any) -> None:
    said = replace(view.analysis, summary=("Over 105 C for 1 min 08 s, 28 % of 3 km at 40 km/h.", "It took 2 steps."))
    assert tables.answer(said) == "Over 105~°C for 1~min 08~s, 28~% of 3~km at 40~km/h.".replace("~", "\u00a0")
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
