"""A review's figures by hand: what is counted where, what stays out, what can't be told."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Sequence
from dataclasses import fields
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridelog.advice import KINDS
from ridelog.kept_results import AboveRow, Found, KindRow, RideResult
from ridelog.review import METHODS, Review, reviewed
from ridelog.review_groups import FEWEST, Group
from ridelog.review_table import BANDS
from ridelog.store.kept_results import ReviewRow
from ridelog.words import review_answer as words

START = date(2026, 3, 1)


def ride(
    number: int,
    *,
    on: float | None = None,
    advised: float = 100.0,
    unknown: float = 0.0,
    kind: str = "heavy_drag",
    above: Sequence[float] = (60.0, 20.0),
    riding: float = 3600.0,
    bike: str | None = "one",
    sheet: str = "spring",
    day: date | None = None,
    air: float | None = 20.0,
    reason: str | None = None,
    condition: str = "healthy",
    one_map: bool = False,
    estimated_map: bool = False,
    dated: bool = True,
) -> Found:
    """A ride with `on` of its advised seconds with a known map on the conservative one; None advises nothing."""
    when = day or START + timedelta(days=number)
    kinds: tuple[KindRow, ...] = ()
    if on is not None:
        counts = (
            (0, 0, 0, 1, 0) if unknown >= advised else ((1, 0, 0, 0, 0) if on >= 0.8 * advised else (0, 0, 1, 0, 0))
        )
        kinds = (KindRow(kind, advised, unknown, on, counts),)
    rows = tuple(
        AboveRow(c, name, s, 0.9 * s, 1.1 * s)
        for (c, name), s in zip(((95.0, "warm"), (105.0, "hot")), above, strict=False)
    )
    result = RideResult(kinds, rows, riding, air, one_map, estimated_map, reason, None)
    begun = datetime(when.year, when.month, when.day, 9, tzinfo=UTC) if dated else None
    row = ReviewRow(f"ride-{number:03d}", bike, begun, None, "UTC", air, condition, "content", "basis", "document", ())
    return Found(row, when if dated else None, sheet, result, reason)


def unread(number: int) -> Found:
    row = ReviewRow(f"ride-{number:03d}", "one", None, None, None, None, "unknown", "content", None, None, ())
    return Found(row, None, "spring", None, "It can't be analyzed.")


def the(groups: Sequence[Group], key: str) -> Group:
    (one,) = [group for group in groups if group.key == key]
    return one


def test_the_share_is_of_the_seconds_with_a_known_map() -> None:
    found = reviewed([ride(1, on=30.0, unknown=40.0), ride(2, on=90.0)]).overall
    assert found.share == pytest.approx(120.0 / 160.0)
    assert (found.advised_s, found.unknown_s, found.segments) == (200.0, 40.0, 2)
    # On the first ride the map is known for 60 % of that: it is in the share, and called neither followed nor not.
    assert (found.rides_followed.followed, found.rides_followed.of) == (1, 1)


def test_unknown_is_not_no() -> None:
    known = [ride(n, on=90.0) for n in range(12)]
    silent = [ride(20 + n, on=0.0, unknown=100.0, reason="No map switch.") for n in range(30)]
    one, both = reviewed(known).overall, reviewed([*known, *silent]).overall
    assert both.share == one.share == pytest.approx(0.9)
    assert (both.low, both.high) == pytest.approx((one.low, one.high))
    assert both.unknown_s == 3000.0
    assert both.rides == 12
    assert both.rides_followed == one.rides_followed
    assert both.counts["missed"] == 0


def test_a_library_without_any_map_tells_nothing_of_the_advice() -> None:
    found = reviewed([ride(n, on=0.0, unknown=100.0, reason="No map switch.") for n in range(15)])
    assert (found.overall.share, found.overall.low, found.overall.high) == (None, None, None)
    assert found.overall.method == "unknown"
    assert found.overall.rides_followed.share is None
    said = " ".join(words.answer(found))
    assert "can't be told" in said
    assert "0 %" not in said


@pytest.mark.parametrize("rides", [1, 2, FEWEST - 1, FEWEST, 40])
def test_a_band_or_the_smallest_and_the_largest_ride(rides: int) -> None:
    shares = np.linspace(0.2, 1.0, rides) if rides > 1 else np.array([0.2])
    found = reviewed([ride(n, on=100.0 * share) for n, share in enumerate(shares)]).overall
    assert found.share is not None
    assert found.low is not None
    assert found.high is not None
    if rides < FEWEST:
        assert found.method == "range"
        assert (found.low, found.high) == pytest.approx((shares.min(), shares.max()))
    else:
        assert found.method == "cluster_bootstrap"
        assert shares.min() < found.low < found.share < found.high < shares.max()


def test_ten_rides_can_be_drawn_in_enough_ways() -> None:
    """C(2n - 1, n) different draws of n rides with replacement: 126 of five, 92,378 of the fewest that get a band."""
    assert math.comb(2 * FEWEST - 1, FEWEST) == 92_378


def test_a_band_is_that_of_rides_and_not_of_seconds() -> None:
    """Each second as a case of its own would give a band ten times too narrow."""
    found = reviewed([ride(n, on=1000.0 * (n % 2), advised=1000.0) for n in range(40)]).overall
    assert found.low is not None
    assert found.high is not None
    # Forty coins: 1.96 sqrt(0.25 / 40) = 0.155 either way.
    assert found.high - found.low == pytest.approx(2 * 0.155, rel=0.15)


def test_what_was_not_logged_is_told_apart() -> None:
    """Notes and the ignition angle can show the map that was on, hardly one that was not: the share without them."""
    rides = [ride(n, on=50.0) for n in range(12)] + [ride(20 + n, on=100.0, estimated_map=True) for n in range(12)]
    found = reviewed(rides)
    assert found.overall.share == pytest.approx(0.75)
    assert found.logged_map.share == pytest.approx(0.5)
    assert found.estimated_map_rides == 12
    assert "without them the share is 50 %" in " ".join(words.answer(found))
    plain = reviewed(rides[:12])
    assert (plain.logged_map.share, plain.logged_map.low) == (plain.overall.share, plain.overall.low)
    alone = " ".join(words.answer(reviewed(rides[12:])))
    assert "no share can be told" in alone


def test_groups() -> None:
    found = reviewed(
        [
            ride(1, on=10.0, bike="b", sheet="x"),
            ride(2, on=20.0, bike="a", sheet="x", kind="wide_open"),
            ride(40, on=30.0, bike="a", sheet="y"),
            ride(41, on=50.0, bike=None, sheet="y", dated=False),
            ride(42, bike="a", sheet="y"),
        ]
    )
    assert [one.key for one in found.by_bike] == ["a", "b", "no bike"]
    assert [one.key for one in found.by_month] == ["2026-03", "2026-04", "undated"]
    assert [one.key for one in found.by_sheet] == ["x", "y"]
    assert [one.key for one in found.by_kind] == ["heavy_drag", "wide_open"]
    assert the(found.by_bike, "a").share == pytest.approx(50.0 / 200.0)
    assert the(found.by_bike, "a").all_rides == 3
    assert the(found.by_kind, "heavy_drag").share == pytest.approx(90.0 / 300.0)
    assert the(found.by_sheet, "x").rides == 2


def test_a_ride_without_advice_is_judged_and_in_no_share() -> None:
    found = reviewed([ride(1, on=80.0), ride(2)])
    assert found.overall.rides == 1
    assert found.unjudged == ()
    assert [one.band for one in found.rides] == ["80-100", "not_advised"]
    assert found.rides[1].share is None


def test_rides_that_cannot_be_judged_are_listed_and_count_nowhere() -> None:
    found = reviewed([ride(1, on=80.0), ride(2, reason="No throttle."), unread(3)])
    assert [(one.ride, one.reason) for one in found.unjudged] == [
        ("ride-002", "No throttle."),
        ("ride-003", "It can't be analyzed."),
    ]
    assert found.rides[-1].advised_s is None
    assert found.overall.rides == 1
    document = found.to_json()
    assert document["unjudged_rides"] == 2


# -- outcome ----------------------------------------------------------------------------------------------------------


def outcome(found: Review, threshold_c: float, key: str) -> Any:
    (one,) = [row.outcome for row in found.outcome if (row.threshold_c, row.key) == (threshold_c, key)]
    return one


def test_seconds_above_for_each_hour_ridden() -> None:
    found = reviewed(
        [ride(1, on=100.0, above=(360.0, 36.0)), ride(2, on=100.0, above=(0.0, 0.0), riding=7200.0), ride(3, on=0.0)]
    )
    followed = outcome(found, 95.0, "80-100")
    assert (followed.rides, followed.rides_above, followed.hours) == (2, 1, 3.0)
    assert followed.seconds_per_hour == pytest.approx(120.0)
    assert (followed.low, followed.high, followed.method) == (0.0, 360.0, "range")
    assert (followed.sensor_low, followed.sensor_high) == pytest.approx((108.0, 132.0))
    assert outcome(found, 105.0, "0-20").seconds_per_hour == pytest.approx(20.0)


def test_rides_without_coolant_have_no_outcome() -> None:
    found = reviewed([ride(1, on=100.0, above=(), riding=0.0), ride(2, on=100.0)])
    assert outcome(found, 95.0, "80-100").rides == 1
    assert reviewed([ride(1, on=100.0, above=(), riding=0.0)]).outcome == ()


def test_a_ride_with_a_fault_is_in_the_share_and_not_in_the_outcome() -> None:
    found = reviewed([ride(1, on=100.0), ride(2, on=0.0, above=(3000.0, 2000.0), condition="faulty")])
    assert found.overall.share == pytest.approx(0.5)
    assert outcome(found, 95.0, "0-20").rides == 0
    assert found.faulty_rides == 1
    assert "fault" in " ".join(words.answer(found))


def test_a_temperature_no_ride_passed_has_no_upper_end() -> None:
    found = reviewed([ride(n, on=100.0, above=(60.0, 0.0)) for n in range(20)])
    never = outcome(found, 105.0, "80-100")
    assert (never.seconds_per_hour, never.low, never.high, never.method) == (0.0, 0.0, None, "none_above")


def test_less_where_it_is_less() -> None:
    rng = np.random.default_rng(3)
    rides = [ride(n, on=95.0, above=(float(rng.uniform(0, 120)), 0.0)) for n in range(30)]
    rides += [ride(50 + n, on=5.0, above=(float(rng.uniform(200, 600)), 0.0)) for n in range(30)]
    warm, hot = reviewed(rides).followed_or_not
    assert warm.answer == "less"
    assert warm.difference.value == pytest.approx(
        (warm.first.outcome.seconds_per_hour or 0.0) - (warm.second.outcome.seconds_per_hour or 0.0)
    )
    assert warm.difference.high is not None
    assert warm.difference.high < 0.0
    assert hot.answer == "cannot_tell"
    assert "less by" in " ".join(words.answer(reviewed(rides)))


def test_chance_is_not_called_a_difference() -> None:
    """Two sets of the same kind of rides: at most one in ten is told apart at 95 %."""
    told = 0
    for seed in range(40):
        rng = np.random.default_rng(seed)
        rides = [ride(n, on=95.0 * (n % 2), above=(float(rng.lognormal(4.0, 1.0)), 0.0)) for n in range(60)]
        told += reviewed(rides).followed_or_not[0].answer != "cannot_tell"
    assert told <= 5


def test_few_rides_tell_no_difference() -> None:
    rides = [ride(n, on=95.0, above=(1.0, 0.0)) for n in range(FEWEST - 1)]
    rides += [ride(50 + n, on=5.0, above=(900.0, 0.0)) for n in range(40)]
    found = reviewed(rides)
    assert found.followed_or_not[0].answer == "cannot_tell"
    assert found.followed_or_not[0].difference.low is None
    assert "too few" in " ".join(words.answer(found))


@pytest.mark.parametrize(("followed", "others"), [(0, 30), (30, 0), (2, 7)])
def test_a_side_that_was_hardly_ever_above_tells_no_difference(followed: int, others: int) -> None:
    """A band from drawing rides of which none, or next to none, was above it looks far surer than it is."""
    rides = [ride(n, on=95.0, above=(10.0 * (n < followed), 0.0)) for n in range(30)]
    rides += [ride(50 + n, on=5.0, above=(900.0 * (n < others), 0.0)) for n in range(30)]
    (warm, _) = reviewed(rides).followed_or_not
    assert warm.difference.clear
    assert warm.answer == "cannot_tell"


def test_from_one_sheet_to_the_next() -> None:
    rides = [ride(n, on=20.0 + n % 7, sheet="old", air=15.0) for n in range(20)]
    rides += [ride(50 + n, on=80.0 + n % 7, sheet="new", air=27.0) for n in range(20)]
    found = reviewed(rides)
    (change,) = found.sheet_changes
    assert (change.earlier, change.later) == ("old", "new")
    assert change.share.value == pytest.approx(0.6, abs=0.01)
    assert change.share.clear
    said = " ".join(words.answer(found))
    assert "went up by 60 points" in said
    assert "12 C warmer" in said
    assert {row.key for row in found.outcome_by_sheet} == {"old", "new"}


def test_thresholds_are_those_of_each_bike() -> None:
    other = ride(2, on=100.0, bike="two")
    assert other.result is not None
    rows = (AboveRow(100.0, "warm", 50.0, 50.0, 50.0),)
    found = reviewed(
        [ride(1, on=100.0), Found(other.row, other.day, "spring", other.result._replace(above=rows), None)]
    )
    assert [(row.threshold_c, row.outcome.rides) for row in found.outcome if row.key == "80-100"] == [
        (95.0, 1), (100.0, 1), (105.0, 1)
    ]  # fmt: skip


# -- whatever the rides -----------------------------------------------------------------------------------------------

seconds = st.floats(0.0, 5000.0, allow_nan=False).map(lambda value: round(value, 3))


@st.composite
def any_ride(draw: st.DrawFn) -> Found:
    advised = draw(seconds)
    unknown = round(advised * draw(st.sampled_from([0.0, 0.1, 0.5, 1.0])), 3)
    return ride(
        draw(st.integers(0, 400)),
        on=draw(st.none() | st.floats(0.0, 1.0).map(lambda share: round(share * (advised - unknown), 3))),
        advised=advised,
        unknown=unknown,
        kind=draw(st.sampled_from(KINDS)),
        above=draw(st.sampled_from([(), (0.0, 0.0), (50.0, 3.0), (900.0, 700.0)])),
        riding=draw(st.sampled_from([0.0, 10.0, 3600.0])),
        bike=draw(st.sampled_from(["one", "two", None])),
        sheet=draw(st.sampled_from(["a", "b"])),
        air=draw(st.none() | st.floats(-20.0, 45.0)),
        reason=draw(st.none() | st.just("It can't be judged.")),
        condition=draw(st.sampled_from(["healthy", "faulty", "unknown"])),
        one_map=draw(st.booleans()),
        estimated_map=draw(st.booleans()),
        dated=draw(st.booleans()),
    )


@given(st.lists(any_ride() | st.integers(0, 400).map(unread), max_size=30))
def test_what_holds_of_any_library(rides: list[Found]) -> None:
    found = reviewed(rides)
    document = json.loads(json.dumps(found.to_json(), allow_nan=False))
    assert len(document["rides"]) == len(rides)
    for groups in (found.by_bike, found.by_month, found.by_sheet):
        for of in ("all_rides", "rides", "segments"):
            assert sum(getattr(group, of) for group in groups) == getattr(found.overall, of)
        for of in ("advised_s", "unknown_s"):
            assert sum(getattr(group, of) for group in groups) == pytest.approx(getattr(found.overall, of), abs=1e-6)
    for group in (*found.by_bike, *found.by_kind, *found.by_month, *found.by_sheet, found.overall):
        assert group.unknown_s <= group.advised_s + 1e-9
        assert (group.share is None) == (group.rides == 0) == (group.method == "unknown")
        if group.share is not None and group.low is not None and group.high is not None:
            assert 0.0 <= group.low <= group.share + 1e-9
            assert group.share <= group.high + 1e-9 <= 1.0 + 2e-9
        assert group.method in METHODS
    for row in (*found.outcome, *found.outcome_by_sheet):
        assert row.outcome.method in METHODS
        assert row.outcome.rides_above <= row.outcome.rides
    assert {one.band for one in found.rides} <= set(BANDS)
    for sentence in words.answer(found) + words.unjudged_lines(found.unjudged, 2):
        assert sentence.strip()
        assert not re.search(r"\bnan\b|\bNone\b|inf\b", sentence)


@given(st.lists(any_ride(), min_size=1, max_size=25), st.randoms())
def test_the_order_of_import_changes_nothing(rides: list[Found], random: Any) -> None:
    rides = list({one.row.id: one for one in rides}.values())
    shuffled = list(rides)
    random.shuffle(shuffled)
    assert reviewed(shuffled).to_json() == reviewed(rides).to_json()


def test_the_same_call_gives_the_same_digits() -> None:
    rides = [ride(n, on=float(n * 7 % 100), sheet="ab"[n % 2]) for n in range(50)]
    assert reviewed(rides).to_json() == reviewed(rides).to_json()


def test_a_group_keeps_its_band_whatever_stands_beside_it() -> None:
    one = [ride(n, on=float(n * 7 % 100)) for n in range(30)]
    two = [ride(100 + n, on=5.0, bike="two") for n in range(30)]
    assert the(reviewed(one).by_bike, "one") == the(reviewed([*one, *two]).by_bike, "one")


def test_every_name_of_the_contract_is_there() -> None:
    rides = [ride(n, on=50.0, sheet="ab"[n % 2]) for n in range(12)]
    document = reviewed(rides).to_json()
    assert document["schema"] == 1
    assert {"ride", "bike", "start_utc", "advised_s", "share", "counts"} <= set(document["rides"][0])
    names = {"key", "rides", "segments", "advised_s", "unknown_s", "share", "low", "high", "method"}
    for group in (*document["by_bike"], *document["by_kind"], *document["by_month"], *document["by_sheet"]):
        assert names <= set(group)
    assert names <= set(document["overall"])
    wanted = {"threshold_c", "share_band", "rides", "hours", "seconds_per_hour", "low", "high"}
    assert all(wanted <= set(row) for row in document["outcome"])
    assert isinstance(document["unjudged_rides"], int)
    assert set(document["methods"]) >= {group["method"] for group in document["by_bike"]}
    assert {field.name for field in fields(Review)} <= set(document)


def test_an_empty_library_is_no_fault() -> None:
    found = reviewed([])
    assert found.overall.share is None
    assert words.answer(found)
    assert words.title(found) == "Review of 0 rides"


ACCUSING = re.compile(r"\b(fail|ignor|refus|disobey|blame|guilt|careless|should have|rider'?s? (did|was|is))\w*", re.I)


def test_no_sentence_accuses() -> None:
    worst = [ride(n, on=0.0, above=(3000.0, 2500.0), one_map=True) for n in range(30)]
    worst += [ride(60 + n, on=100.0, above=(1.0, 0.0)) for n in range(30)]
    for rides in (worst, worst[:3], [], [unread(1)]):
        found = reviewed(rides)
        said = [*words.answer(found), words.bands_line(), words.STARRED, words.CAUTION, words.TOGETHER]
        assert not [sentence for sentence in said if ACCUSING.search(sentence)]


def test_reasons_are_counted_and_the_newest_rides_named() -> None:
    rides = [ride(n, on=0.0, unknown=100.0, reason="No map switch.") for n in range(5)] + [unread(9)]
    lines = words.unjudged_lines(reviewed(rides).unjudged, 2)
    assert lines[0] == "5 rides: No map switch. (ride-004, ride-003 and 3 more)"
    assert lines[1].startswith("1 ride: ")
