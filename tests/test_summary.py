"""The answer in words."""

from __future__ import annotations

from dataclasses import replace

import pytest

from ridelog.results import Adherence, Exposure, Segment
from ridelog.words.summary import Coolant, HotTime, reason, summarize
from ridelog.words.terms import degrees, duration

COUNTS = dict.fromkeys(("followed", "late", "missed", "unknown", "not_advised"), 0)
NONE_ADVISED = Adherence(0.0, None, None, COUNTS)
GOOD = Coolant(logged=True, coverage=1.0, resolution_c=0.1)


def exposure(threshold_c: float, name: str, seconds: float, peak_c: float, **more: float) -> Exposure:
    plain = Exposure(
        threshold_c=threshold_c,
        name=name,
        observed_s=seconds,
        observed_low_s=seconds,
        observed_high_s=seconds,
        estimated_s=None,
        estimated_low_s=None,
        estimated_high_s=None,
        unknown_s=0.0,
        engine_off_s=0.0,
        excursions=2 if seconds > 0.0 else 0,
        longest_s=0.5 * seconds,
        degree_s=seconds,
        peak_c=peak_c,
    )
    return replace(plain, **more)


def hot(limit_s: float, hot_s: float, warm_s: float, peak_c: float, **more) -> list[HotTime]:
    rows = [("warm", 95.0, warm_s), ("hot", 105.0, hot_s), ("limit", 115.0, limit_s)]
    return [HotTime(exposure(c, name, seconds, peak_c), **more) for name, c, seconds in rows]


def segment(kind: str = "heavy_drag", **more) -> Segment:
    plain = Segment(
        start_s=100.0,
        end_s=200.0,
        kind=kind,
        also=(),
        certainty="sure",
        mean_power_w=8000.0,
        mean_speed_mps=8.0,
        drag_coefficient=0.27,
        drag_low=0.2,
        drag_high=0.35,
        mean_grade=0.0,
        settle_c=None,
        settle_low_c=None,
        settle_high_c=None,
        limit_after_s=None,
        limit_after_low_s=None,
        limit_after_high_s=None,
        coolant_start_c=90.0,
        coolant_peak_c=117.0,
        advised_map="conservative",
        conservative_share=0.0,
        switched_after_s=None,
        held_after_s=None,
        verdict="missed",
    )
    return replace(plain, **more)


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0.4, "0.4 s"),
        (0.0, "0 s"),
        (47.6, "48 s"),
        (59.7, "1 min 00 s"),
        (185.0, "3 min 05 s"),
        (3599.6, "1 h 00 min"),
        (3725.0, "1 h 02 min"),
    ],
)
def test_durations(seconds: float, text: str) -> None:
    assert duration(seconds) == text


def test_degrees() -> None:
    assert (degrees(115.0), degrees(110.5)) == ("115 C", "110.5 C")


def test_past_the_limit_in_sand_on_the_standard_map() -> None:
    rows = hot(
        185.0,
        300.0,
        500.0,
        118.0,
        by_kind={"heavy_drag": 185.0},
        standard_s=185.0,
        conservative_s=0.0,
        on_standard_by_kind={"heavy_drag": 185.0},
    )
    said = summarize(GOOD, rows, [segment()], Adherence(90.0, 0.0, 0.0, COUNTS), unjudged=[], wide_open_s=0.0)
    assert said[:2] == (
        "Coolant peaked at 118 C and was above 115 C (limit) for 3 min 05 s.",
        "Of that, all was on deep-drag ground on the standard map, at most 1 min 32 s at a stretch.",
    )


def test_the_map_is_named_only_where_it_was_logged() -> None:
    rows = hot(185.0, 300.0, 500.0, 118.0, by_kind={"heavy_drag": 185.0})
    said = summarize(
        GOOD,
        rows,
        [segment(verdict="unknown")],
        Adherence(90.0, None, None, COUNTS, 90.0),
        unjudged=[],
        wide_open_s=0.0,
    )
    assert not any("standard" in sentence for sentence in said)
    assert any("which map was on can't be told" in sentence for sentence in said)


def test_below_everything() -> None:
    said = summarize(GOOD, hot(0.0, 0.0, 0.0, 88.0), [], NONE_ADVISED, unjudged=[], wide_open_s=0.0)
    assert said == (
        "Coolant peaked at 88 C: never above 95 C (warm).",
        "No stretch called for the conservative map.",
    )


def test_warm_but_below_the_limit() -> None:
    said = summarize(GOOD, hot(0.0, 40.0, 80.0, 109.5), [], NONE_ADVISED, unjudged=[], wide_open_s=0.0)
    assert said[0] == "Coolant peaked at 109.5 C, above 105 C (hot) for 40 s, and stayed under the limit of 115 C."
    assert said[1].startswith("None of that was on or right after a flagged stretch")


def test_kinds_that_cannot_be_judged_are_named() -> None:
    said = summarize(GOOD, hot(0.0, 0.0, 0.0, 88.0), [], NONE_ADVISED, unjudged=["heavy_drag"], wide_open_s=0.0)
    assert said[1] == (
        "No stretch that can be judged called for the conservative map; deep-drag ground can't be told from this log."
    )


def test_missing_coverage_is_said() -> None:
    rows = [replace(row, exposure=replace(row.exposure, unknown_s=120.0)) for row in hot(0.0, 0.0, 0.0, 88.0)]
    said = summarize(Coolant(True, 0.8, 0.1), rows, [], NONE_ADVISED, unjudged=[], wide_open_s=0.0)
    assert "80 %" in said[0]
    assert any("For 2 min 00 s of the ride" in sentence for sentence in said)


def test_a_coarse_sensor_is_said_where_it_matters() -> None:
    rows = hot(0.0, 0.0, 60.0, 96.0)
    wide = replace(rows[0].exposure, observed_low_s=20.0, observed_high_s=400.0)
    said = summarize(
        Coolant(True, 1.0, 1.0),
        [replace(rows[0], exposure=wide), *rows[1:]],
        [],
        NONE_ADVISED,
        unjudged=[],
        wide_open_s=0.0,
    )
    assert any("steps of 1 C" in sentence and "20 s to 6 min 40 s" in sentence for sentence in said)


def test_a_calm_trace_does_not_clear_wide_open_riding() -> None:
    calm = summarize(
        GOOD,
        hot(0.0, 0.0, 0.0, 88.0),
        [segment("wide_open")],
        Adherence(90.0, 90.0, 1.0, COUNTS),
        unjudged=[],
        wide_open_s=50.0,
    )
    assert any("(longest 50 s): the sensor can't see the piston" in sentence for sentence in calm)
    assert any("it was on all that time" in sentence for sentence in calm)


def test_wide_open_time_is_that_of_the_throttle_not_of_the_stretch_around_it() -> None:
    """A stretch of another kind can be longer than the wide-open run inside it, and name it beside its own."""
    longer = segment("heavy_drag", also=("wide_open",), start_s=100.0, end_s=252.0)
    for seconds, said in ((50.0, "longest 50 s"), (0.0, None)):
        sentences = summarize(
            GOOD,
            hot(0.0, 0.0, 0.0, 88.0),
            [longer],
            Adherence(90.0, 90.0, 1.0, COUNTS),
            unjudged=[],
            wide_open_s=seconds,
        )
        found = [sentence for sentence in sentences if "piston" in sentence]
        assert len(found) == (said is not None)
        assert all(said is not None and said in sentence for sentence in found)


def test_time_without_a_known_map_is_never_the_standard_map() -> None:
    part = Adherence(100.0, 60.0, 1.0, COUNTS, unknown_s=40.0)
    said = summarize(GOOD, hot(0.0, 0.0, 0.0, 88.0), [segment(verdict="unknown")], part, unjudged=[], wide_open_s=0.0)
    assert any("not known for 40 s of it, and for the rest it was on all that time" in sentence for sentence in said)
    assert not any("standard" in sentence for sentence in said)


def test_kinds_that_cannot_be_judged_are_named_beside_those_that_can() -> None:
    said = summarize(
        GOOD,
        hot(0.0, 0.0, 0.0, 88.0),
        [segment("high_speed")],
        Adherence(90.0, 0.0, 0.0, COUNTS),
        unjudged=["heavy_drag"],
        wide_open_s=0.0,
    )
    assert said[1].endswith("standard map for all that time; deep-drag ground can't be told from this log.")


def words(kind: str, doubts: tuple[str, ...] = ()) -> str:
    return reason(
        kind,
        length_s=95.0,
        speed_mps=8.6,
        power_w=8400.0,
        power_share=0.233,
        drag=0.27,
        drag_low=0.21,
        grade=0.15,
        opening=0.94,
        doubts=doubts,
    )


@pytest.mark.parametrize(
    ("kind", "parts"),
    [
        ("heavy_drag", ("27 %", "1 min 35 s", "31 km/h", "8.4 kW", "23 % of peak", "still 21 %")),
        ("wide_open", ("94 % open", "piston")),
        ("high_speed", ("31 km/h", "sustained")),
        ("slow_climb", ("15 %", "hardly any air")),
        ("standstill", ("Stood for 1 min 35 s", "fan")),
    ],
)
def test_reasons_carry_numbers_and_why(kind: str, parts: tuple[str, ...]) -> None:
    text = words(kind)
    assert all(part in text for part in parts), text
    assert text.endswith(".")
    assert "uncertain because x and y" in words(kind, ("x", "y"))


def test_no_coolant() -> None:
    said = summarize(Coolant(False, 0.0, None), [], [], NONE_ADVISED, unjudged=[], wide_open_s=0.0)
    assert said[0].startswith("This log has no usable coolant temperature")
