"""Comparisons as a whole: against the independent simulator, on rides that lack this or that, and their words."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import pytest
from plant import bike_of
from plant.compare_referee import ASKED, SCORING_MACHINES, SERVICE_MACHINES, ridden, score, score_service
from plant.referee import without

from ridelog import compare_heat
from ridelog.advice import default_advice
from ridelog.analysis.matched_records import Comparison
from ridelog.analysis.thermal_prior import RideFit
from ridelog.compare import Asked, _verdict, compare, compare_with_build
from ridelog.results import Band, to_json
from ridelog.study import Known, Study, study
from ridelog.words import compare as words
from ridelog.words import compare_tables

MACHINE = 704
"""A bike with a fan and no thermostat."""


@pytest.fixture(scope="module")
def well() -> list[Study]:
    """Three healthy rides of one machine."""
    return [ridden(MACHINE, number) for number in range(3)]


@pytest.fixture(scope="module")
def blocked() -> list[Study]:
    """Three rides of it with three tenths of the fins blocked."""
    return [ridden(MACHINE, number, "fins_blocked", most_s=1800.0) for number in (10, 11, 12)]


def again(one: Study, **changed: object) -> Study:
    """The same ride analyzed with something changed: `ambient_c`, `bike`, or channels taken away (`without`)."""
    ride = without(one.ride, *changed["without"]) if "without" in changed else one.ride  # type: ignore[misc]
    bike = changed.get("bike", one.known.bike)
    return study(ride, Known(bike, default_advice()), ambient_c=changed.get("ambient_c", one.ambient_c))  # type: ignore[arg-type]


def usable(one: Study) -> compare_heat.Usable:
    """The ride as one side of a comparison."""
    found = compare_heat.usable(one)
    assert found is not None
    return found


def all_text(found: Comparison) -> list[str]:
    """Every sentence and cell a person would read."""
    cells = [cell for table in compare_tables.tables(found) for row in table.rows for cell in row]
    return [*found.summary, *compare_tables.riding_lines(found), *cells, compare_tables.title(found)]


# -- against the simulator --------------------------------------------------------------------------------------------


def test_blocked_fins_are_told_from_a_healthy_bike(well: list[Study], blocked: list[Study]) -> None:
    found = compare(blocked[:1], well, ASKED)
    assert found.verdict == "hotter"
    assert found.settle[0].difference.low > 0.0 or (found.overall and found.overall.rate.difference.low > 0.0)
    assert "ran hotter" in found.summary[0]
    figures = {row.name: row for row in found.figures}
    assert figures["cooling_10"].ratio is not None
    assert figures["cooling_10"].ratio.value < 0.95
    assert compare(well[:1], blocked, ASKED).verdict == "cooler"


def test_a_healthy_bike_is_the_same_as_itself(well: list[Study]) -> None:
    found = compare(well[:1], well[1:], ASKED)
    assert found.verdict == "same"
    assert "within what healthy rides differ by" in found.summary[0]


@pytest.mark.slow
def test_forty_machines(capsys: pytest.CaptureFixture[str]) -> None:
    """Healthy pairs are hardly ever told apart, and told the same where a difference that matters is ruled out: in two
    of five against one ride, in three of four against three. Three tenths of the fins are told in nine of ten. Heat up
    by 15 % and a lagging pump are often left open, and seldom called the same."""
    done = score(SCORING_MACHINES)
    with capsys.disabled():
        print(done.text())
    for kind, least in (("healthy against 1", 0.40), ("healthy against 3", 0.75)):
        assert done.share(kind, "hotter", "cooler") <= 0.03
        assert done.share(kind, "same") >= least
    for kind in ("fins_blocked against 1", "fins_blocked against 4"):
        assert done.share(kind, "same") == 0.0
    for kind in ("heat_high against 1", "heat_high against 4"):
        assert done.share(kind, "same") <= 0.20
    assert done.share("fins_blocked against 4", "hotter") >= 0.90
    assert done.share("fins_blocked against 1", "hotter") >= 0.80
    assert done.share("heat_high against 4", "hotter") >= 0.40
    for kind in done.found:
        if not kind.startswith("healthy"):
            assert done.share(kind, "cooler") <= 0.05
    assert done.fan_less("fan_off against 4") >= 0.60


@pytest.mark.slow
def test_work_on_twelve_bikes(capsys: pytest.CaptureFixture[str]) -> None:
    """Three rides a side, judged by their own scatter alone: washing three tenths of the fins free is told, and work
    that changed nothing is hardly ever told as a change."""
    done = score_service(SERVICE_MACHINES)
    with capsys.disabled():
        print(done.text())
    assert done.share("fins washed", "cooler") >= 0.80
    assert done.share("fins washed", "hotter") == 0.0
    assert done.share("nothing changed", "hotter", "cooler") <= 0.10


@pytest.mark.parametrize(
    ("difference", "verdict", "said"),
    [
        (Band(1.0, -6.0, 8.0), "same", ""),
        (Band(8.0, -2.0, 18.0), "cant_tell", "leans to hotter"),
        (Band(-8.0, -18.0, 2.0), "cant_tell", "leans to cooler"),
        (Band(1.0, -12.0, 14.0), "cant_tell", "no difference shows"),
        (Band(9.0, 2.0, 16.0), "hotter", ""),
    ],
)
def test_the_same_takes_a_band_that_rules_out_what_matters(
    well: list[Study], difference: Band, verdict: str, said: str
) -> None:
    """A leaning of eight degrees that may be eighteen is not "the same"."""
    heat = compare_heat.heat_sides(bike_of("heron-300"), *([usable(one)] for one in well[:2]))
    found = compare(well[:1], well[1:2], ASKED)
    assert found.overall is not None
    rate = replace(found.overall.rate, difference=Band(1e-3 * difference.value, -1.0, 1.0))
    ridden_row = replace(found.settle[0], difference=difference)
    whole = replace(found, settle=(ridden_row,), overall=replace(found.overall, rate=rate))
    answer, reason = _verdict(whole, heat)
    assert (answer, said in reason) == (verdict, True)
    text = words.summary(replace(whole, verdict=answer, reason=reason, scatter=None))[0]
    assert ("can't be told" in text) is (verdict == "cant_tell")
    if said:
        assert "10 C or more is not ruled out" in text
        assert re.search(r"\(\d+ lower to \d+ higher\)", text)


# -- what can't be told -----------------------------------------------------------------------------------------------


def test_rides_with_little_in_common_get_no_verdict() -> None:
    """One crawled uphill, the other was ridden fast."""
    slow = ridden(MACHINE, 20, most_s=1200.0, kinds=("slow_climb", "rocks"))
    fast = ridden(MACHINE, 21, most_s=1200.0, kinds=("paved", "dirt_road"))
    found = compare([slow], [fast], ASKED)
    assert found.verdict == "cant_tell"
    assert "in common" in found.reason or "never ridden alike" in found.reason
    assert "can't be told" in found.summary[0]


@pytest.mark.parametrize("channel", ["coolant_c", "engine_rpm"])
def test_a_ride_without_what_heat_takes_says_so(well: list[Study], channel: str) -> None:
    found = compare([again(well[0], without=(channel,))], well[1:], ASKED)
    assert found.verdict == "cant_tell"
    assert found.overall is None
    assert any(one.question == "matched_heat" for one in found.cannot_tell)
    json.dumps(to_json(found), allow_nan=False)


def test_power_from_the_throttle_is_not_set_beside_power_from_motion(well: list[Study]) -> None:
    """A log without a throttle: its power is the least the motion takes, a fifth and more below the other's."""
    bare = again(well[0], without=("throttle_pct",))
    for first, others in (([bare], well[1:]), (well[1:2], [bare])):
        found = compare(first, others, ASKED)
        assert found.verdict == "cant_tell"
        assert "motion" in found.reason
        assert found.settle == ()
    mixed = compare(well[1:2], [well[2], bare], ASKED)
    assert mixed.overall is not None
    assert any(bare.ride.id in one.reason for one in mixed.cannot_tell)
    # Two such rides can be: both are figured the same way.
    assert compare([bare], [again(well[1], without=("throttle_pct",))], ASKED).overall is not None


def test_without_a_bike_file(well: list[Study]) -> None:
    found = compare([again(well[0], bike=None)], well[1:], ASKED)
    assert found.verdict == "cant_tell"
    assert "no bike file" in found.reason


def test_bikes_of_other_builds_are_not_set_beside_each_other(well: list[Study]) -> None:
    found = compare([again(well[0], bike=bike_of("otter-250"))], well[1:], ASKED)
    assert found.verdict == "cant_tell"
    assert "different builds" in found.reason


def test_air_far_apart_is_told_as_a_stretch(well: list[Study]) -> None:
    warm = again(well[0], ambient_c=38.0)
    cold = again(well[1], ambient_c=4.0)
    found = compare([warm], [cold], ASKED)
    assert found.ambient_difference_k == pytest.approx(34.0, abs=4.0)
    assert found.ambient_stretch
    assert any("a stretch" in text for text in found.summary)


def test_one_bad_ride_among_others_is_left_out_and_named(well: list[Study]) -> None:
    bad = again(well[2], without=("coolant_c",))
    found = compare(well[:1], [well[1], bad], ASKED)
    assert found.overall is not None
    assert any(bad.ride.id in one.reason for one in found.cannot_tell)


# -- work on the bike -------------------------------------------------------------------------------------------------


def service(first: list[Study], others: list[Study]) -> Comparison:
    """After against before."""
    return compare(first, others, Asked("service", "dune-07 after the work", "dune-07 before it", "fins washed"))


def test_three_rides_a_side_are_judged_by_their_own_scatter(well: list[Study], blocked: list[Study]) -> None:
    found = service(well, blocked)
    assert found.scatter is not None
    assert found.scatter.difference is not None
    assert found.verdict == "cooler"
    assert "Ride by ride" in " ".join(found.summary)
    assert [one.settle_c is not None for one in (*found.first, *found.others)] == [True] * 6


def test_a_side_whose_own_rides_differ_gets_no_verdict(well: list[Study], blocked: list[Study]) -> None:
    """Before the work one ride was well and two were not: what changed, changed within that side."""
    found = service(well, [*blocked[:2], ridden(MACHINE, 30, most_s=1800.0)])
    assert found.scatter is not None
    assert found.scatter.difference is not None
    assert found.scatter.difference.high > 0.0
    assert found.verdict == "cant_tell"
    assert "something changed within a side" in found.summary[0]


def test_under_three_rides_a_side_only_the_range_is_told(well: list[Study], blocked: list[Study]) -> None:
    found = service(well[:2], blocked)
    assert found.verdict == "cant_tell"
    assert found.scatter is not None
    assert found.scatter.difference is None
    assert "too few" in found.summary[0]
    assert "only the range is told" in " ".join(found.summary)
    assert found.scatter.first.low <= found.scatter.first.value <= found.scatter.first.high


# -- a build ----------------------------------------------------------------------------------------------------------


def fits(machine: int) -> list[RideFit]:
    """The fit of a ride of another machine of the same bike file."""
    found = [ridden(machine, 0, most_s=1500.0).found.balance.own]
    return [one for one in found if one is not None]


@pytest.fixture(scope="module")
def build() -> dict[str, list[RideFit]]:
    """Three other bikes of the build."""
    return {f"heron-{number}": fits(MACHINE + 4 * number) for number in (1, 2, 3)}


def test_a_bike_among_its_build(well: list[Study], blocked: list[Study], build: dict[str, list[RideFit]]) -> None:
    bike = bike_of("heron-300")
    healthy = compare_with_build(bike, well[:1], build)
    assert healthy.verdict == "same"
    assert healthy.build is not None
    assert healthy.build.rank in (1, 2, 3, 4)
    sick = compare_with_build(bike, blocked, build)
    assert sick.build is not None
    assert sick.build.difference is not None
    assert healthy.build.difference is not None
    assert sick.build.difference.value > healthy.build.difference.value
    assert sick.build.rank is not None
    assert sick.build.rank >= healthy.build.rank


def test_a_build_of_few_bikes_gives_no_place(well: list[Study], build: dict[str, list[RideFit]]) -> None:
    two = dict(list(build.items())[:2]) | {"heron-9": []}
    found = compare_with_build(bike_of("heron-300"), well[:1], two)
    assert found.verdict == "cant_tell"
    assert found.build is not None
    assert found.build.rank is None
    assert "three are needed" in found.summary[0]
    assert found.left_out == ("heron-9: no ride of it has a heat balance",)


# -- words and the document -------------------------------------------------------------------------------------------


def test_the_document_is_finite_and_every_difference_has_its_seconds(well: list[Study], blocked: list[Study]) -> None:
    found = compare(blocked[:1], well, ASKED)
    document = json.loads(json.dumps(to_json(found), allow_nan=False))
    rows = document["heating"] + document["cooling"]
    assert rows
    for row in rows:
        assert min(row["rate"]["seconds"]) >= 40.0
        assert row["rate"]["difference"]["low"] <= row["rate"]["difference"]["value"]
    assert {row["stretch"] for row in document["settle"]} == set(words.STRETCH_WORDS)
    assert {row["name"] for row in document["figures"]} <= set(words.FIGURE_WORDS)


def test_the_same_comparison_gives_the_same_digits(well: list[Study]) -> None:
    assert to_json(compare(well[:1], well[1:], ASKED)) == to_json(compare(well[:1], well[1:], ASKED))


def test_what_a_person_reads(well: list[Study], blocked: list[Study]) -> None:
    for found in (compare(blocked[:1], well, ASKED), service(well, blocked), service(well[:1], blocked)):
        for text in all_text(found):
            assert "nan" not in text.lower()
            assert not re.search(r"\bNone\b|_", text), text
            assert "- 0" not in text
        for sentence in (*found.summary, *found.cautions):
            assert sentence[0].isupper()
            assert sentence.endswith(".")
        assert any("qualified technician" in text for text in found.cautions)


def test_a_signed_figure_is_never_a_signed_nothing() -> None:
    assert [words.signed(value) for value in (-0.3, 0.2, -2.0, 3.0)] == ["0", "0", "-2", "+3"]
    assert words.signed(-0.04, 1) == "0.0"
