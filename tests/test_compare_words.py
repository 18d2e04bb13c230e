"""What a comparison says of gears, fan and coming down again: each case, and what it must not claim."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from ridelog.analysis.matched_records import BuildBike, BuildPlace, Comparison, CoolDown, FanUse, GearPair, Settle
from ridelog.analysis.matched_use import GearUse
from ridelog.results import Band
from ridelog.words import compare as words
from ridelog.words import compare_tables as pages


def pairs(first: dict[int, float], others: dict[int, float], *, ahead: float = 0.02) -> tuple[GearPair, ...]:
    """Gears with these ratios over the bike file's on each side; `ahead`: share of time on the first that ran ahead."""
    made = []
    for gear in sorted(first.keys() | others.keys()):
        sides = [
            GearUse(gear, 60.0, 100.0 * part[gear], part[gear], 0.05, share) if gear in part else None
            for part, share in ((first, ahead), (others, 0.02))
        ]
        over = first[gear] / others[gear] if gear in first and gear in others else None
        made.append(GearPair(gear, sides[0], sides[1], over))
    return tuple(made)


def test_gears_that_agree() -> None:
    text = words.gear_reading(pairs({2: 1.01, 3: 1.0}, {2: 1.0, 3: 1.0}), from_wheel=False)
    assert text == "In no gear does engine speed over ground speed differ by more than 3 %."


def test_all_gears_off_alike_is_a_sprocket_a_tyre_or_the_speed() -> None:
    text = words.gear_reading(pairs({2: 1.08, 3: 1.07, 4: 1.08}, {2: 1.0, 3: 1.0, 4: 1.0}), from_wheel=False)
    assert "about 8 % faster" in text
    assert "can't tell which" in text
    assert "off the bike file" in text


def test_one_gear_off_is_no_sprocket() -> None:
    text = words.gear_reading(pairs({1: 1.09, 3: 1.0}, {1: 1.0, 3: 1.0}), from_wheel=False)
    assert "In gear 1 " in text
    assert "no sprocket does that" in text
    assert "look alike" in text
    assert "bike file" not in text


@pytest.mark.parametrize(("from_wheel", "said"), [(False, "Log the wheel's speed"), (True, "does not show")])
def test_an_engine_that_runs_ahead_convicts_neither_tyre_nor_clutch(said: str, *, from_wheel: bool) -> None:
    text = words.gear_reading(pairs({2: 1.0}, {2: 1.0}, ahead=0.2), from_wheel=from_wheel)
    assert "8 % or more ahead of the bike for 20 % of the time" in text
    assert said in text
    assert "clutch" in text


def test_no_gear_on_both_sides() -> None:
    assert "No gear was ridden" in words.gear_reading(pairs({2: 1.0}, {3: 1.0}), from_wheel=False)


@pytest.mark.parametrize(
    ("use", "said"),
    [
        (FanUse("none", 0, None, None, None, 0.0), "not both logged"),
        (FanUse("logged", 0, 0.0, None, None, 900.0), "logged for 15 min 00 s, it never ran"),
        (FanUse("saw-tooth", 0, 0.0, None, None, 40.0), "can't tell: not logged"),
        (FanUse("saw-tooth", 3, 30.0, Band(96.0, 95.0, 97.0), Band(41.0, 38.0, 50.0), 360.0), "cut in at 96 C (95 to"),
        (FanUse("logged", 1, 2.0, None, None, 1800.0), "1 run in 30 min 00 s, as logged"),
        (FanUse("logged", 1, 2.0, Band(95.1, 95.0, 95.2), Band(41.0, 38.0, 50.0), 1800.0), "cut in at 95 C; a run"),
    ],
)  # fmt: skip
def test_the_fan(use: FanUse, said: str) -> None:
    assert said in pages.fan_words(use)


def test_coming_down_again_says_what_was_cut_short() -> None:
    text = pages.cool_down_words(CoolDown(4, 41.0, 4, None, 1, 108.0))
    assert "4 times, from up to 108 C" in text
    assert "half of the way down after 41 s" in text
    assert "back within 2 C after more than was seen" in text
    assert "3 cut short" in text
    assert "no stop or crawl" in pages.cool_down_words(CoolDown(0, None, 0, None, 0, None))


@pytest.mark.parametrize(
    ("band", "leans"),
    [(Band(9.0, -1.0, 19.0), " hotter"), (Band(-9.0, -19.0, 1.0), " cooler"), (Band(2.0, -8.0, 12.0), "")],
)
def test_a_difference_that_leans_and_one_that_does_not(band: Band, leans: str) -> None:
    settle = Settle("ridden", 20.0, Band(90.0, 80.0, 100.0), Band(85.0, 75.0, 95.0), band, "cant_tell")
    found = Comparison("rides", "ride a", "ride b", (), (), "same", "", settle=(settle,))
    text = words.summary(found)[0]
    assert ("It leans to" in text) == bool(leans)
    assert leans in text


def placed(answer: str) -> Comparison:
    """A bike among three others of its build."""
    others = tuple(BuildBike(f"dune-{n}", ("r",), Band(80.0 + n, 70.0, 90.0)) for n in (1, 2, 3))
    place = BuildPlace("300-enduro-2", "dune-07", Band(95.0, 85.0, 105.0), others, 4, Band(13.0, 2.0, 24.0), answer)  # type: ignore[arg-type]
    return Comparison("build", "dune-07", "build 300-enduro-2", (), (), place.answer, "", build=place)


def test_a_bike_among_its_build() -> None:
    hot, order = words.summary(placed("hotter"))
    assert "hotter by more than bikes of build 300-enduro-2 differ by" in hot
    assert "about 13 C higher (2 to 24)" in hot
    assert order == "Of 4 bikes (dune-07, dune-1, dune-2 and dune-3) it is the hottest."


def test_a_title_begins_large_but_for_the_id_of_a_bike() -> None:
    def named(first: str) -> Any:
        return SimpleNamespace(mode="rides", first_name=first, others_name="the rest")

    assert pages.title(named("ride 20260606-1120")) == "Ride 20260606-1120 beside the rest"
    assert pages.title(named("enduro-34")) == "enduro-34 beside the rest"
    assert pages.title(named("rider-1")) == "rider-1 beside the rest"
