"""What the heat balance says in words: three-way answers, sensible digits, no claim beyond the figures."""

from __future__ import annotations

from dataclasses import replace
from types import ModuleType
from typing import Any

import pytest

from ridelog.results import Band, CoolingAt, Heat, Segment, WhatIf, WhatIfExposure
from ridelog.words import heat as heat_words

SPEEDS = (0.0, 2.0, 5.0, 10.0, 20.0)


def fitted(**more: Any) -> Heat:
    heat = Heat(
        True, None, heat_input=Band(0.1, 0.08, 0.12),
        cooling=tuple(CoolingAt(v, Band(0.001 + 0.001 * v, 0.0008 + 0.001 * v, 0.002 + 0.001 * v)) for v in SPEEDS),
        fan_step_per_s=Band(0.003, 0.0, 0.004), time_constant_s=Band(91.0, 80.0, 120.0), rmse_c=0.84,
        holdout_rmse_c=1.31, persistence_rmse_c=3.14, map_ratio=Band(0.9, 0.85, 0.95), ambient_c=Band(29.0, 27.0, 31.0),
        ambient_source="given by hand", load_source="throttle", windows=55, from_prior={"heat": 0.1, "fan": 0.8},
    )  # fmt: skip
    return replace(heat, **more)


@pytest.fixture(scope="module")
def analysis(fakes: ModuleType) -> Any:
    return fakes.make_view(600.0, gap=False).analysis


def stretch(analysis: Any, **more: float | None) -> Segment:
    base = {"settle_c": 126.6, "settle_low_c": 117.7, "settle_high_c": 136.2, "coolant_start_c": 90.0}
    return replace(analysis.segments[0], **{**base, **more})


@pytest.mark.parametrize(
    ("value", "low", "high", "text"),
    [
        (141.0, 108.0, 233.0, "after 2 min 20 s (1 min 50 s to 3 min 50 s)"),
        (141.0, 108.0, None, "after 2 min 20 s (1 min 50 s to never)"),
        (None, 250.0, None, "never (at worst after 4 min 10 s)"),
        (None, None, None, "never at this load"),
        (0.0, 0.0, 0.0, "over it from the start"),
        (23.4, 17.2, 61.0, "after 23 s (17 s to 1 min 00 s)"),
        (1200.0, 800.0, None, "after over 20 min (13 min 20 s to never)"),
        (12.0, 12.2, 12.3, "after 12 s"),
    ],
)
def test_limit_after(analysis: Any, value: float | None, low: float | None, high: float | None, text: str) -> None:
    told = stretch(analysis, limit_after_s=value, limit_after_low_s=low, limit_after_high_s=high)
    assert heat_words.limit_after(told) == text


def test_what_is_not_known_is_a_dash_and_never_a_never(analysis: Any) -> None:
    assert heat_words.limit_after(stretch(analysis, coolant_start_c=None)) == "–"
    assert heat_words.limit_after(stretch(analysis, settle_c=None)) == "–"
    assert heat_words.settle(stretch(analysis, settle_c=None)) == "–"


def test_settle_in_whole_degrees_with_its_band(analysis: Any) -> None:
    assert heat_words.settle(stretch(analysis)) == "127 C (118 to 136)"


def test_the_block_of_a_fit(analysis: Any) -> None:
    told = dict(heat_words.heat_lines(replace(analysis, heat=fitted())))
    # 0.1 K/s per kW x 8 kJ/K = 0.8; 0.08 x 6 = 0.48; 0.12 x 10 = 1.2
    assert "0.8 kW of heat for each kW of work (0.5 to 1.2 with 6 to 10 kJ/K)" in told["Heat made"]
    # (1 + 2) / (1 + 10) thousandths = 27 %; 0.011 1/s x 8 kJ/K = 88 W/K
    assert "walking pace sheds 27 % of what 36 km/h does" in told["Heat shed"]
    assert "88 W a degree (66 to 110)" in told["Heat shed"]
    assert "this ride says little of it" in told["Fan"]
    assert "1 min 30 s (1 min 20 s to 2 min 00 s)" in told["Answer"]
    assert told["Error"] == (
        "A minute ahead the balance misses by 0.8 C on the 55 windows it was fitted to, by 1.3 C on halves of the ride "
        "told from the other half; “it stays as it is” misses by 3.1 C."
    )
    assert "This ride tells most of: heat made for each kW." in told["Rests on"]
    assert "rest mostly: the fan." in told["Rests on"]
    assert "Air 29 C (27 to 31), as given." in told["Rests on"]


def test_a_bike_without_a_fan_has_no_line_for_one(analysis: Any) -> None:
    told = dict(heat_words.heat_lines(replace(analysis, heat=fitted(fan_step_per_s=None, holdout_rmse_c=None))))
    assert "Fan" not in told
    assert "halves" not in told["Error"]


def test_power_from_motion_says_what_it_misses(analysis: Any) -> None:
    told = dict(heat_words.heat_lines(replace(analysis, heat=fitted(load_source="motion"))))
    assert "in deep ground that is too little" in told["Rests on"]


def test_the_reason_stands_where_nothing_was_fitted(analysis: Any) -> None:
    alone = heat_words.heat_lines(replace(analysis, heat=Heat(False, "the log has no usable engine speed")))
    assert alone[0] == ("Not fitted", "The log has no usable engine speed.")
    assert alone[1][1].startswith("It is not told")
    others = heat_words.heat_lines(replace(analysis, heat=Heat(False, "no coolant", baseline_rides=3)))
    assert "3 other rides" in others[1][1]


@pytest.mark.parametrize(
    ("basis", "words"),
    [
        ("bike", "the tuner's own figure in the bike file: 0.90 (0.77 to 1.05)"),
        ("default", "a default, since nobody has given a figure for this bike: 0.90 (0.77 to 1.05)"),
        ("library", "what rides of this bike or its build on both maps show: 0.90 (0.77 to 1.05)"),
    ],
)
def test_what_if_names_whose_figure_it_is(analysis: Any, basis: Any, words: str) -> None:
    rows = tuple(
        WhatIfExposure(row.threshold_c, 0.0, 0.4 * row.observed_s, row.observed_s) for row in analysis.exposure
    )
    told = replace(analysis, what_if=WhatIf("conservative", basis, rows, Band(0.9, 0.77, 1.05)))
    assert words in heat_words.what_if_note(told.what_if)
    assert "exhaust" in heat_words.what_if_note(told.what_if)
    assert heat_words.what_if_rows(told)[0] == ("95 C (warm)", "13 min 32 s", "5 min 25 s (0 s to 13 min 32 s)")
    assert heat_words.what_if_rows(told)[2] == ("115 C (limit)", "0 s", "0 s")


def test_no_rows_where_nothing_was_advised_or_told(analysis: Any) -> None:
    assert heat_words.what_if_rows(analysis) == []
    rows = tuple(WhatIfExposure(row.threshold_c, 0.0, 0.0, 0.0) for row in analysis.exposure)
    calm = tuple(replace(one, advised_map="either") for one in analysis.segments)
    told = replace(analysis, segments=calm, what_if=WhatIf("conservative", "bike", rows))
    assert heat_words.what_if_rows(told) == []


def test_estimated_time(analysis: Any) -> None:
    row = replace(analysis.exposure[0], estimated_s=130.4, estimated_low_s=3.3, estimated_high_s=3700.0)
    assert heat_words.estimated(row) == "2 min 10 s (3 s to 1 h 02 min)"
    assert heat_words.estimated(analysis.exposure[0]) == "–"


@pytest.mark.parametrize(
    ("missed_c", "says"),
    [(None, ""), (1.2, "miss by 1.2 C a minute ahead"), (9.4, "either the readings or these estimates are wrong")],
)
def test_estimates_by_other_rides_say_how_they_stand_beside_the_readings(
    analysis: Any, missed_c: float | None, says: str
) -> None:
    heat = Heat(False, "the ride is short", baseline_rides=3, estimates_miss_c=missed_c, persistence_rmse_c=2.6)
    lines = dict(heat_words.heat_lines(replace(analysis, heat=heat)))
    assert says in lines["Instead"]
    assert ("own readings" in lines["Instead"]) == (missed_c is not None)
