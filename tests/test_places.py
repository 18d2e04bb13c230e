"""The same ground again: passes measured and compared, hot places, what a library keeps; on simulated rides."""

from __future__ import annotations

from dataclasses import fields, replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plant import simulate
from plant.bikes import bike_of
from pyproj import Geod
from random_rides import ride as random_ride
from random_rides import scored
from scipy.stats import binomtest
from tracks import back, joined, line, loop, on_earth, ridden

from ridelog import places_hot
from ridelog.advice import default_advice
from ridelog.analysis import passes_grid, passes_measure
from ridelog.analysis.passes_grid import CELL_M, Signals, Visits, cells, middles, visits
from ridelog.analysis.passes_hottest import HotPlace, RideVisits, hottest
from ridelog.analysis.passes_way import Way
from ridelog.places import ridden as as_ridden
from ridelog.places import same_ground, track
from ridelog.results import Band, to_json
from ridelog.ride import ChannelInfo, QualityMark, Ride
from ridelog.store.library import Library
from ridelog.study import Known, Study, study
from ridelog.words import places as words
from ridelog.words import places_hot as hot_words

BIKE = "heron-300"
AIR_C = 24.0


# -- recall and precision ---------------------------------------------------------------------------------------------


def test_random_rides_over_a_network_of_ground() -> None:
    """Truth from the paths themselves, by a search tree of SciPy."""
    true_m, found_m, told_m, false_m = scored([random_ride(np.random.default_rng([1, k])) for k in range(12)])
    assert found_m >= 0.95 * true_m
    assert false_m <= 0.02 * told_m
    assert true_m > 20_000.0


# -- passes of simulated rides ----------------------------------------------------------------------------------------


def on_a_loop(ride: Ride, length_m: float = 3000.0, seed: int = 4) -> Ride:
    """The ride as if it had gone round a loop again and again: positions from its speed. Its ground does not repeat, so
    only what rests on position is the loop's."""
    speed = ride.samples["gps_speed_mps"].interpolate().fill_null(0.0).to_numpy()
    t_s = ride.samples["t_s"].to_numpy()
    way = np.concatenate([[0.0], np.cumsum(0.5 * (speed[1:] + speed[:-1]) * np.diff(t_s))])
    path = loop(length_m, seed=seed)
    marks = np.arange(path[0].size)
    east, north = (np.interp(way % length_m, marks, values) for values in path)
    lat, lon = on_earth(east, north)
    samples = ride.samples.with_columns(pl.Series("lat_deg", lat), pl.Series("lon_deg", lon))
    infos = {name: ChannelInfo(name, "deg", 5.0, None, 1.0, False, "logged", "made") for name in ("lat_deg", "lon_deg")}
    return replace(ride, samples=samples, channels={**ride.channels, **infos})


@pytest.fixture(scope="module")
def played() -> Study:
    """Half an hour round a loop of three kilometres."""
    sim = simulate(12, BIKE, machine_seed=1, ambient_c=AIR_C, duration_s=1800.0, map_plan="alternate")
    return study(on_a_loop(sim.ride), Known(bike_of(BIKE), default_advice()), ambient_c=AIR_C)


def test_laps_are_found_and_measured(played: Study) -> None:
    found = same_ground([played])
    (row,) = [one for one in found.stretches if one.kind == "loop"]
    assert row.length_m == pytest.approx(3000.0, rel=0.02)
    full = [one for one in row.passes if one.full]
    assert len(full) >= 3
    way_m = as_ridden(played).way_m
    assert way_m is not None
    for one, then in pairwise(full):
        assert one.end_s == pytest.approx(then.start_s, abs=0.01)
        assert then.at_m - one.at_m == pytest.approx(3000.0, rel=0.02)
    assert found.summary[0] == f"A loop of {words.km(row.length_m)}: {len(full)} whole laps."
    assert len(row.compared) == len(full) - 1
    to_json(found)


def test_the_ledger_of_the_passes_is_that_of_the_ride(played: Study) -> None:
    """Heat of all laps and of what is left sums up to the ride's own ledger."""
    traces, one = played.found.traces, as_ridden(played)
    end = float(traces.t_s[-1])
    edges = np.linspace(0.0, end, 5)
    parts = [passes_measure.measure(one, a, b)[0] for a, b in pairwise(edges.tolist())]
    for name, told in (("heat_in_kps", "heat_in_k"), ("heat_out_kps", "heat_out_k")):
        whole = float(np.nansum(traces.series[name]) * traces.step_s)
        assert sum(getattr(part, told).value for part in parts) == pytest.approx(whole, rel=0.01)
    change = parts[-1].coolant_out_c - parts[0].coolant_in_c  # type: ignore[operator]
    net = sum(part.heat_in_k.value - part.heat_out_k.value for part in parts)  # type: ignore[union-attr]
    assert net == pytest.approx(change, abs=15.0)


def test_what_a_pass_shows_is_what_the_log_shows(played: Study) -> None:
    one = as_ridden(played)
    told, _ = passes_measure.measure(one, 300.0, 700.0)
    inside = (one.t_s >= 300.0) & (one.t_s <= 700.0)
    assert one.coolant_c is not None
    assert one.conservative is not None
    assert told.coolant_peak_c == pytest.approx(float(np.nanmax(one.coolant_c[inside])))
    assert told.coolant_in_c == pytest.approx(float(one.coolant_c[np.searchsorted(one.t_s, 300.0)]), abs=0.6)
    assert told.conservative_share == pytest.approx(float(np.nanmean(one.conservative[inside])), abs=0.01)
    assert told.map_unknown_share == pytest.approx(float(np.mean(np.isnan(one.conservative[inside]))), abs=0.01)
    assert told.duration_s == 400.0


@pytest.mark.parametrize(("hidden_s", "told"), [(30.0, True), (120.0, False)])
def test_a_pass_is_no_slower_for_a_speed_that_was_not_logged(hidden_s: float, told: bool) -> None:
    """Way and speed of a pass come from what is known of it; where too much is not, they are not told."""
    t_s = np.arange(0.0, 200.0, 0.2)
    speed = np.where((t_s >= 50.0) & (t_s < 50.0 + hidden_s), np.nan, 10.0)
    way = np.concatenate([[0.0], np.cumsum(np.nan_to_num(speed[1:]) * 0.2)])
    ride = passes_measure.Ridden(t_s, 0.2, None, speed, None, way, None)
    measured, _ = passes_measure.measure(ride, 0.0, float(t_s[-1]))
    if told:
        assert measured.mean_speed_mps == pytest.approx(10.0, rel=0.01)
        assert measured.length_m == pytest.approx(2000.0, rel=0.01)
    else:
        assert (measured.mean_speed_mps, measured.length_m) == (None, None)


def test_a_stop_is_told_and_left_out_of_speed_and_settling(played: Study) -> None:
    one = as_ridden(played)
    assert one.speed_mps is not None
    assert one.way_m is not None
    speed = one.speed_mps.copy()
    speed[(one.t_s > 400.0) & (one.t_s < 500.0)] = 0.0
    way_m = np.concatenate([[0.0], np.cumsum(speed[1:] * one.step_s)])
    told, _ = passes_measure.measure(replace(one, speed_mps=speed, way_m=way_m), 300.0, 700.0)
    before, _ = passes_measure.measure(one, 300.0, 700.0)
    assert told.standing_s == pytest.approx((before.standing_s or 0.0) + 100.0, abs=15.0)
    assert told.mean_speed_mps == pytest.approx(float(told.length_m or 0.0) / (400.0 - (told.standing_s or 0.0)))


def compared(before: Study, after: Study, share: tuple[float, float] = (0.3, 0.8)) -> passes_measure.Compared:
    """The same part of the course on two rides of it."""
    sides = []
    for done in (before, after):
        one = as_ridden(done)
        assert one.way_m is not None
        ends = np.interp(np.array(share) * one.way_m[-1], one.way_m, one.t_s)
        sides.append((one, *passes_measure.measure(one, float(ends[0]), float(ends[1]))))
    return passes_measure.compare(sides[0], sides[1], same_ride=False)


def a_ride(fault: str | None, ambient_c: float, *, bike: str = BIKE) -> Study:
    """One course, ridden on a day of its own."""
    sim = simulate(
        7003,
        bike,
        machine_seed=3,
        fault=fault,
        ambient_c=ambient_c,
        duration_s=1800.0,
        map_plan="advice",  # type: ignore[arg-type]
    )
    return study(sim.ride, Known(bike_of(bike), default_advice()), ambient_c=ambient_c)


def test_before_and_after_at_the_same_load_and_air() -> None:
    """The independent simulator's own machine, sound and with blocked radiators, on days 10 C apart."""
    sound, again, blocked = a_ride(None, 15.0), a_ride(None, 25.0), a_ride("fins_blocked", 25.0)
    same = compared(sound, again)
    assert same.verdict == "same"
    assert same.matched_c is not None
    assert same.load_c is not None
    assert same.load_c.value > 4.0
    assert same.air_c == pytest.approx(10.0, abs=1.0)
    worse = compared(sound, blocked)
    assert worse.verdict == "warmer"
    assert worse.matched_c is not None
    assert worse.matched_c.value > 8.0
    better = compared(blocked, sound)
    assert better.verdict == "cooler"


def test_what_can_not_be_compared_says_why(played: Study) -> None:
    one = as_ridden(played)
    side = (one, *passes_measure.measure(one, 300.0, 700.0))
    bare = (replace(one, drawn=None), *passes_measure.measure(replace(one, drawn=None), 300.0, 700.0))
    assert passes_measure.compare(side, bare, same_ride=False).reason == passes_measure.NO_BALANCE
    short = (one, *passes_measure.measure(one, 600.0, 630.0))
    assert passes_measure.compare(side, short, same_ride=True).reason == passes_measure.TOO_SHORT
    assert one.drawn is not None
    fan = replace(one, drawn=replace(one.drawn, plant=replace(one.drawn.plant, peak_kw=20.0)))
    assert passes_measure.compare(side, (fan, *side[1:]), same_ride=False).reason == passes_measure.OTHER_ENGINE
    lost = replace(one.drawn.ride, coolant_c=np.full(one.drawn.ride.t_s.size, np.nan))
    dark = replace(one, drawn=replace(one.drawn, ride=lost))
    there = (dark, *passes_measure.measure(dark, 300.0, 700.0))
    assert passes_measure.compare(side, there, same_ride=False).reason == passes_measure.NOT_FORETOLD
    for each in (bare, short, (fan, *side[1:]), there):
        told = passes_measure.compare(side, each, same_ride=False)
        assert told.verdict == "cant_tell"
        assert words.verdict(told).startswith("can't tell: ")


def test_rides_without_positions_say_why(played: Study) -> None:
    ride = played.ride
    bare = replace(ride, samples=ride.samples.drop("lat_deg", "lon_deg"))
    assert "no positions" in str(track(bare))
    mark = QualityMark("lat_deg", "null_island", 0.0, ride.duration_s + 1.0, "excluded", "zero")
    assert "no usable positions (marked as no fix)" in str(track(replace(ride, quality=(*ride.quality, mark))))
    still = ride.samples.with_columns(pl.lit(43.2).alias("lat_deg"), pl.lit(-31.6).alias("lon_deg"))
    assert "too little" in str(track(replace(ride, samples=still)))
    found = same_ground([replace(played, ride=bare), played])
    assert [one.question for one in found.cannot_tell] == [ride.id]
    assert len(found.rides) == 1
    assert same_ground([]).stretches == ()


# -- the grid ---------------------------------------------------------------------------------------------------------


@given(lat=st.floats(-85.0, 85.0), lon=st.floats(-180.0, 179.999))
def test_a_place_lies_in_its_cell_anywhere_on_earth(lat: float, lon: float) -> None:
    """By the geodesic of pyproj: no place is further from the middle of its cell than half the diagonal."""
    cell = cells(np.array([lat]), np.array([lon]))
    middle = middles(cell)
    assert cells(*middle)[0] == cell[0]
    _, _, far = Geod(ellps="WGS84").inv(lon, lat, middle[1][0], middle[0][0])
    assert far <= 0.75 * CELL_M


def test_neighbours_have_cells_of_their_own() -> None:
    lat, lon = on_earth(np.arange(0.0, 2000.0, 200.0), np.zeros(10))
    assert np.unique(cells(lat, lon)).size == 10


def seen(made: Way, *, coolant: float = 90.0, settle: float = 100.0, limit: float = 115.0) -> Visits:
    """A ride whose coolant and settle temperature are the same all along, but hot between 300 and 500 m of its way."""
    t_s = np.arange(0.0, made.t_s[-1], 0.2)
    way = np.interp(t_s, made.t_s, made.at_m)
    here = (way > 300.0) & (way < 500.0)
    told = Signals(
        t_s=t_s,
        step_s=0.2,
        coolant_c=np.full(t_s.size, coolant),
        settle_c=np.where(here, settle, 80.0),
        settle_low_c=np.where(here, settle - 5.0, 75.0),
        settle_high_c=np.where(here, settle + 5.0, 85.0),
        kind=np.where(here, 0, -1),
        thresholds_c=(95.0, 105.0, limit),
        limit_c=limit,
    )
    return visits(made, made.at_m, told)


NAMES = ("warm", "hot", "limit")


def test_visits_hold_all_the_time_that_positions_tell() -> None:
    made = ridden(joined(loop(2000.0, seed=2), loop(2000.0, seed=2)), noise_m=2.0, holes_s=((100.0, 140.0),))
    found = seen(made, coolant=110.0)
    covered = sum(made.t_s[made.piece == k][-1] - made.t_s[made.piece == k][0] for k in range(int(made.piece[-1]) + 1))
    assert found.seconds.sum() == pytest.approx(covered, abs=1.0)
    assert found.above_s[:, 0] == pytest.approx(found.seconds)
    assert found.above_s[:, 2].sum() == 0.0
    assert (np.hypot(found.east, found.north) <= 1.0 + 1e-9).all()


def hot_place(rides: list[tuple[str, Visits]], **asked: list[bool]) -> HotPlace:
    """The first place of rides given as bike and visits."""
    listed = [RideVisits(f"r{n}", bike, NAMES, visited) for n, (bike, visited) in enumerate(rides)]
    return hottest(listed, 5, **asked)[0]  # type: ignore[arg-type]


def test_a_hot_place_of_many_rides() -> None:
    """Eight rides of two bikes over one road: hot for three of four of one bike, for one of four of the other."""
    road = line(1500.0)
    rides = []
    for k in range(8):
        hot = k in (0, 1, 2, 4)
        made = ridden(road, seed=k, noise_m=1.0, rate_hz=5.0)
        rides.append(("a" if k < 4 else "b", seen(made, settle=130.0 if hot else 100.0)))
    place = hot_place(rides)
    assert (place.passes, place.hot, place.rides, place.hot_rides, place.unknown) == (8, 4, 8, 4, 0)
    assert {one.bike: (one.passes, one.hot) for one in place.by_bike} == {"a": (4, 3), "b": (4, 1)}
    assert place.kind == 0
    assert place.at_m == pytest.approx(300.0, abs=90.0)
    assert place.long_m == pytest.approx(200.0, abs=110.0)
    assert place.method == "range"
    assert place.settle is not None
    assert place.settle.low < 100.0 < place.settle.value < 130.0
    assert place.share is not None
    interval = binomtest(4, 8).proportion_ci(0.95, "wilson")
    assert (place.share.low, place.share.high) == pytest.approx((interval.low, interval.high), abs=1e-9)
    mine = hot_place(rides, of=[k < 4 for k in range(8)])
    assert (mine.passes, mine.hot) == (4, 3)
    assert {one.bike: (one.passes, one.hot) for one in mine.by_bike} == {"a": (4, 3), "b": (4, 1)}
    assert hot_words.others(mine, "a") == "1 of 4 passes hot"


def test_laps_of_one_ride_are_one_witness() -> None:
    """The same passes, all by one ride, or each by a ride of its own: the share is the same, its band is not."""
    road = line(900.0)
    made = [seen(ridden(road, seed=k), settle=130.0) for k in range(6)]
    laps = Visits(
        **{
            one.name: np.concatenate(
                [getattr(part, one.name) + (3000.0 * k if one.name in ("start_s", "end_s") else 0)
                 for k, part in enumerate(made)]
            )
            for one in fields(Visits)
        }
    )  # fmt: skip
    apart, together = hot_place([("a", one) for one in made]), hot_place([("a", laps)])
    assert (apart.passes, apart.rides) == (6, 6)
    assert (together.passes, together.rides) == (6, 1)
    assert apart.share is not None
    assert together.share is not None
    assert apart.share.value == together.share.value == 1.0
    for share, number in ((apart.share, 6), (together.share, 1)):
        interval = binomtest(number, number).proportion_ci(0.95, "wilson")
        assert (share.low, share.high) == pytest.approx((interval.low, interval.high), abs=1e-9)


def test_the_other_direction_is_not_counted() -> None:
    road = line(800.0)
    up, down = ridden(road, seed=1), ridden(back(road), seed=2)
    place = hot_place([("a", seen(up, settle=130.0)), ("a", seen(down, settle=90.0))])
    assert (place.passes, place.other_way) == (1, 1)


def test_a_place_of_one_ride_is_told_as_such() -> None:
    place = hot_place([("a", seen(ridden(line(900.0)), settle=130.0))])
    assert hot_words.hot_cells(1, place, None)[3] == "one ride only"


def test_ten_rides_and_more_draw_rides_anew() -> None:
    made = ridden(line(900.0))
    place = hot_place([("a", seen(made, settle=120.0 + k)) for k in range(12)])
    assert place.method == "bootstrap"
    assert place.settle is not None
    assert place.settle.value == pytest.approx(125.5, abs=6.0)
    assert place.settle.high - place.settle.low < 12.0


def test_nothing_known_is_not_cold() -> None:
    """Neither settle temperature nor coolant: not counted as a pass that was not hot."""
    made = ridden(line(900.0))
    unknown = seen(made)
    nothing = np.full(unknown.size, np.nan)
    unknown = replace(unknown, settle_c=nothing, peak_c=nothing, hot=nothing)
    place = hot_place([("a", seen(made, settle=130.0)), ("a", unknown)])
    assert (place.passes, place.hot, place.unknown) == (2, 1, 1)
    assert hottest([RideVisits("r", "a", NAMES, unknown)], 5) == []
    assert hottest([], 5) == []


@settings(max_examples=40)
@given(
    settle=st.floats(0.0, 200.0) | st.just(float("nan")), peak=st.floats(0.0, 150.0) | st.just(float("nan")),
    limit=st.floats(90.0, 125.0),
)  # fmt: skip
def test_hot_is_yes_no_or_not_known(settle: float, peak: float, limit: float) -> None:
    told = passes_grid.hot(np.array([settle]), np.array([peak]), limit)[0]
    if settle > limit or peak > limit:
        assert told == passes_grid.HOT
    elif np.isnan(settle) and np.isnan(peak):
        assert np.isnan(told)
    else:
        assert told == passes_grid.NOT_HOT


# -- what is kept -----------------------------------------------------------------------------------------------------


def test_what_is_kept_reads_as_what_was_made(played: Study) -> None:
    part = places_hot.part_of(played)
    assert part.visits is not None
    row = replace_row(played.ride.id, BIKE)
    basis = (b"a" * 32, b"b" * 32)
    read = places_hot._read(basis[0] + basis[1] + places_hot._numbers(part), row, basis)  # type: ignore[arg-type]
    assert read is not None
    assert read.visits is not None
    for name in (*passes_grid.NUMBERS, "cell", "above_s"):
        one, other = getattr(read.visits.visits, name), getattr(part.visits.visits, name)
        np.testing.assert_allclose(one, other, rtol=1e-6)
    assert read.visits.thresholds == part.visits.thresholds
    assert read.prior == part.prior


class replace_row:  # noqa: N801 - stands for a row of the catalogue
    """What reading a part needs of a row."""

    def __init__(self, ride: str, bike: str) -> None:
        self.id, self.bike = ride, bike


@given(cut=st.integers(0, 400), at=st.integers(0, 300), value=st.integers(0, 255))
def test_damaged_parts_are_made_anew(cut: int, at: int, value: int) -> None:
    """Cut or changed bytes in the head or another basis: none of it is read, none of it raises."""
    visited = seen(ridden(line(400.0)))
    part = places_hot._Part(RideVisits("r", "a", NAMES, visited), None, None)
    basis = (b"a" * 32, b"b" * 32)
    blob = basis[0] + basis[1] + places_hot._numbers(part)
    row = replace_row("r", "a")
    assert places_hot._read(blob, row, (basis[1], basis[0])) is None  # type: ignore[arg-type]
    assert places_hot._read(blob[: min(cut, len(blob) - 1)], row, basis) is None  # type: ignore[arg-type]
    changed = bytearray(blob)
    changed[64 + at % 4] ^= value
    read = places_hot._read(bytes(changed), row, basis)  # type: ignore[arg-type]
    assert read is None or value == 0


def test_a_changed_ride_is_looked_at_anew(tmp_path: Path, played: Study, monkeypatch: pytest.MonkeyPatch) -> None:
    library = Library.open(tmp_path / "library")
    source = tmp_path / "ride.csv"
    rows = "\n".join(
        f"{t},{80 + t % 9},{43.2 + 1e-4 * t:.6f},{-31.6 + 1e-5 * t * t / 300:.6f},4000,40" for t in range(300)
    )
    source.write_text(f"Time (s),Coolant (C),Latitude,Longitude,RPM,Throttle (%)\n{rows}\n", encoding="utf-8")
    from ridelog.ingest import ImportOptions, import_files

    (outcome,) = import_files(library, [source], ImportOptions())
    assert outcome.ride_id is not None
    made: list[str] = []
    real = places_hot.part_of
    monkeypatch.setattr(places_hot, "part_of", lambda done: made.append(done.ride.id) or real(done))
    first = places_hot.hot_places(library)
    assert made == [outcome.ride_id]
    assert places_hot.hot_places(library) == first
    assert len(made) == 1
    library.edit(outcome.ride_id, ambient_c=21.0)
    places_hot.hot_places(library)
    assert len(made) == 2
    library.edit(outcome.ride_id, condition="faulty")
    left_out = places_hot.hot_places(library)
    assert left_out.rides == 0
    assert [one.reason for one in left_out.cannot_tell] == [hot_words.FAULTY]
    assert len(made) == 2


def test_another_ride_of_the_bike_costs_that_ride_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, repository: Path
) -> None:
    """What other rides tell of the bike is the same as before, so the first ride's part is good as it is."""
    from ridelog.ingest import ImportOptions, import_files

    library = Library.open(tmp_path / "library")
    bike = library.add_bike(repository / "sample_logs" / "bikes" / "enduro-07.bike.toml")
    made: list[str] = []
    real = places_hot.part_of
    monkeypatch.setattr(places_hot, "part_of", lambda done: made.append(done.ride.id) or real(done))
    for number in range(3):
        source = tmp_path / f"ride{number}.csv"
        rows = "\n".join(f"{t},{80 + (t + number) % 9},{43.2 + 1e-4 * t:.6f},-31.6,4000,40" for t in range(200))
        source.write_text(f"Time (s),Coolant (C),Latitude,Longitude,RPM,Throttle (%)\n{rows}\n", encoding="utf-8")
        (outcome,) = import_files(library, [source], ImportOptions(bike=bike, bike_id=bike.id, ambient_c=20.0))
        assert outcome.ride_id is not None
        assert places_hot.hot_places(library, bike.id).rides == number + 1
        assert made[-1] == outcome.ride_id
        assert len(made) == number + 1


# -- words ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("verdict", "band", "expected"),
    [
        (
            "warmer",
            Band(13.4, 6.6, 25.9),
            "ride b ran warmer than ride a: the coolant would settle 13 C higher (7 to 26)",
        ),
        (
            "cooler",
            Band(-9.0, -14.2, -3.0),
            "ride b ran cooler than ride a: the coolant would settle 9 C lower (3 to 14)",
        ),
        ("same", Band(1.2, -3.0, 5.4), "ride b ran as ride a, within what the log can tell: +1.2 C (-3.0 to +5.4)"),
        ("cant_tell", None, "Whether ride b ran warmer than ride a can't be told: the coolant needs a minute or two"),
    ],
)
def test_the_answer_is_one_sentence(played: Study, verdict: str, band: Band | None, expected: str) -> None:
    row = same_ground([played]).stretches[0]
    told = replace(row.compared[0].compared, verdict=verdict, matched_c=band, reason="too_short")  # type: ignore[arg-type]
    row = replace(row, compared=(replace(row.compared[0], ride="b", against_ride="a", compared=told),))
    cover = same_ground([played]).rides[0]
    assert expected in words.summary([cover, replace(cover, ride="b")], [row], 0)[1]


def test_many_comparisons_are_told_together(played: Study) -> None:
    found = same_ground([played])
    row, like = found.stretches[0], found.stretches[0].compared[0]
    same = replace(like.compared, verdict="same", matched_c=Band(0.1, -2.0, 2.2), reason=None)
    warm = replace(like.compared, verdict="warmer", matched_c=Band(5.0, 1.0, 9.0), reason=None)
    blank = replace(like.compared, verdict="cant_tell", matched_c=None, reason="too_short")
    rows = [replace(like, number=n, compared=each) for n, each in enumerate([same] * 20 + [warm, blank], 2)]
    said = words.summary(found.rides, [replace(row, compared=tuple(rows))], 0)[1:]
    assert "20 of 21 other laps ran as lap 1" in said[0]
    assert "lap 22 ran warmer than lap 1" in said[1]
    assert "by chance" in said[2]
    assert "Of 1 it can't be told" in said[3]
    assert len(said) == 4


def test_stretches_have_letters() -> None:
    assert [words.name(n) for n in (0, 1, 25, 26, 27, 51, 52, 701, 702)] == [
        "A", "B", "Z", "AA", "AB", "AZ", "BA", "ZZ", "AAA",
    ]  # fmt: skip


def test_differences_have_a_sign_and_nothing_has_none() -> None:
    assert words.number(0.04, 1, sign=True) == "0.0"
    assert words.number(-0.4, 0, sign=True) == "0"
    assert words.number(3.2, 0, sign=True) == "+3"
    assert words.km(994.0) == "990 m"
    assert words.km(996.0) == "1.0 km"
