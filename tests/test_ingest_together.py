"""Several devices, one ride: the import finds how their clocks lie, puts wrong ones right, or says what it can't tell.

The sample ride holds everything on one clock, which is the truth; the files are cut from it with clocks of their own.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl
import pytest

import sample_logs
from ridelog.errors import InputRefused, UsageError
from ridelog.ingest import ImportOptions, read_rides
from ridelog.ingest_together import offset_of, parse_offset_option
from ridelog.ride import Ride

START = datetime(2026, 5, 9, 10, 15, tzinfo=UTC)
NAMES = {
    "engine_rpm": "Engine speed [rpm]",
    "coolant_c": "Coolant temp [C]",
    "throttle_pct": "Throttle [%]",
    "gps_speed_mps": "GPS speed [m/s]",
    "lat_deg": "Latitude",
    "lon_deg": "Longitude",
}
ENGINE = ("engine_rpm", "coolant_c")
TRACK = ("lat_deg", "lon_deg", "gps_speed_mps")
OPTIONS = ImportOptions()


@pytest.fixture(scope="module")
def ride() -> Ride:
    """A sample ride whose channels all share one clock: the truth."""
    path = sample_logs.folder() / "rides" / "01-standard-in-sand.csv.gz"
    return read_rides([path], OPTIONS)[0]


def stamps(began: datetime, t_s: pl.Series, zone: str) -> pl.Series:
    us = (t_s * 1e6).round().cast(pl.Int64) + round(began.timestamp() * 1e6)
    return us.cast(pl.Datetime("us")).dt.strftime("%Y-%m-%dT%H:%M:%S%.3f") + zone


class Writer:
    """Writes what one device would have of the ride.

    It was on from `late_s` to `until_s` and wrote every `every`-th row; its clock runs fast by `ppm` and, where it
    shows a date, is ahead by `ahead_s`.
    """

    def __init__(self, ride: Ride, folder: Path) -> None:
        self.ride, self.folder = ride, folder

    def __call__(
        self,
        name: str,
        channels: tuple[str, ...],
        *,
        ahead_s: float | None = None,
        late_s: float = 0.0,
        until_s: float = 1e9,
        ppm: float = 0.0,
        every: int = 1,
        zone: str = "Z",
        change: Callable[[str, pl.Series], pl.Series] = lambda _, values: values,
    ) -> Path:
        table = self.ride.samples.drop_nulls(list(channels))
        table = table.filter((pl.col("t_s") >= late_s) & (pl.col("t_s") <= until_s)).gather_every(every)
        own = (table["t_s"] - table["t_s"][0]) * (1.0 + ppm * 1e-6)
        columns: dict[str, object] = {"Time [s]": own.round(4)}
        if ahead_s is not None:
            began = START + timedelta(seconds=float(table["t_s"][0]) + ahead_s)
            columns = {"Time": stamps(began, own, zone)}
        columns |= {NAMES[channel]: change(channel, table[channel]) for channel in channels}
        path = self.folder / name
        pl.DataFrame(columns).write_csv(path)
        return path


@pytest.fixture
def write(ride: Ride, tmp_path: Path) -> Writer:
    return Writer(ride, tmp_path)


def joined(*paths: Path, offsets: tuple[tuple[str, float], ...] = ()) -> Ride:
    return read_rides(paths, ImportOptions(offsets=offsets), together=True)[0]


def largest_error_s(found: Ride, truth: Ride, channel: str, *, late_s: float = 0.0, every: int = 1) -> float:
    """How far any sample of a channel is from its true moment; the ride's own start must be right too."""
    start = found.start_utc or datetime.fromisoformat(found.extra["start_local"]).replace(tzinfo=UTC)
    here = found.samples.filter(pl.col(channel).is_not_null())["t_s"].to_numpy() + (start - START).total_seconds()
    own = ENGINE if channel in ENGINE else TRACK
    true = truth.samples.drop_nulls(list(own)).filter(pl.col("t_s") >= late_s)["t_s"].to_numpy()[::every]
    assert here.size == true.size
    return float(np.abs(here - true).max())


def told(found: Ride, kind: str) -> str:
    (text,) = [note.text for note in found.notes if note.kind == kind]
    return text


# -- one clock without a date -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("late_s", "ppm", "channels"),
    [(37.4, 0.0, TRACK), (121.25, 150.0, TRACK), (10.0, -80.0, ("lat_deg", "lon_deg"))],
)
def test_an_engine_log_without_a_date_is_placed(
    ride: Ride, write: Writer, late_s: float, ppm: float, channels: tuple[str, ...]
) -> None:
    engine = write("engine.csv", ENGINE, late_s=late_s, ppm=ppm)
    track = write("track.csv", channels, ahead_s=0.0, every=4)
    found = joined(engine, track)
    assert "engine.csv has no date" in told(found, "clock_placed")
    assert "stretches of 2 min scatter by" in told(found, "clock_placed")
    assert largest_error_s(found, ride, "coolant_c", late_s=late_s) < 0.15


@pytest.mark.parametrize(("late_s", "ppm"), [(30.0, 0.0), (200.0, 100.0)])
def test_a_track_without_a_date_is_placed_against_a_dated_engine_log(
    ride: Ride, write: Writer, late_s: float, ppm: float
) -> None:
    engine = write("engine.csv", ENGINE, ahead_s=0.0)
    track = write("track.csv", TRACK, late_s=late_s, ppm=ppm, every=4)
    found = joined(engine, track)
    assert "track.csv has no date" in told(found, "clock_placed")
    assert found.start_utc == START
    assert largest_error_s(found, ride, "lat_deg", late_s=late_s, every=4) < 0.15


def test_two_counters_are_joined_and_the_ride_stays_without_a_date(ride: Ride, write: Writer) -> None:
    engine = write("engine.csv", ENGINE, late_s=20.0, ppm=120.0)
    track = write("track.csv", TRACK, late_s=50.0, every=4)
    found = joined(engine, track)
    assert found.start_utc is None
    assert found.id.startswith("undated-")
    assert "time_utc" not in found.channels
    shown = found.samples.filter(pl.col("coolant_c").is_not_null())["t_s"].to_numpy()
    position = found.samples.filter(pl.col("lat_deg").is_not_null())["t_s"].to_numpy()
    assert shown[0] == 0.0
    assert position[0] == pytest.approx(30.0, abs=0.15)
    # The track's clock is kept, so the engine log's drift is taken off.
    true = ride.samples.drop_nulls(list(ENGINE)).filter(pl.col("t_s") >= 20.0)["t_s"].to_numpy()
    assert shown[-1] == pytest.approx(true[-1] - true[0], abs=0.15)


def test_local_times_without_a_zone_stay_local(ride: Ride, write: Writer) -> None:
    engine = write("engine.csv", ENGINE, ahead_s=300.0, zone="")
    track = write("track.csv", TRACK, ahead_s=0.0, zone="", every=4)
    found = joined(engine, track)
    assert found.start_utc is None
    assert found.extra["start_local"].startswith("2026-05-09T10:1")
    assert "5 min ahead of" in told(found, "clock_corrected")
    assert largest_error_s(found, ride, "coolant_c") < 0.15


def test_a_local_time_beside_one_in_utc_is_placed_and_its_zone_told(ride: Ride, write: Writer) -> None:
    engine = write("engine.csv", ENGINE, ahead_s=7200.0, zone="")
    track = write("track.csv", TRACK, ahead_s=0.0, every=4)
    found = joined(engine, track)
    assert "its own clock is +2 h 00 min from UTC" in told(found, "clock_placed")
    assert largest_error_s(found, ride, "coolant_c") < 0.15


# -- both have a date -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("ahead_s", "ppm", "says"),
    [
        (2220.0, 100.0, "37 min ahead of that of track.csv"),
        (-2220.0, -60.0, "37 min behind that of track.csv"),
        (18.0, 0.0, "18 s is what GPS time and UTC differ by"),
        (3600.0, 50.0, "1 h is a time zone or summer time"),
        (-7218.0, 0.0, "2 h is a time zone or summer time, and 18 s what GPS time and UTC differ by"),
        (19_800.0, 0.0, "5.5 h is a time zone"),
        (3640.0, 0.0, "1 h is a time zone or summer time, the other 40.0 s a clock that was off"),
        (-34_560_000.0, 0.0, "shows a wrong day"),
        (0.6, 0.0, " s ahead of that of track.csv"),
    ],
)
def test_a_wrong_clock_is_put_right(ride: Ride, write: Writer, ahead_s: float, ppm: float, says: str) -> None:
    engine = write("engine.csv", ENGINE, ahead_s=ahead_s, late_s=15.0, ppm=ppm)
    track = write("track.csv", TRACK, ahead_s=0.0, every=4)
    found = joined(engine, track)
    text = told(found, "clock_corrected")
    assert says in text
    assert "The clock of track.csv was kept because its device has the satellite receiver" in text
    assert found.start_utc == START
    assert largest_error_s(found, ride, "coolant_c", late_s=15.0) < 0.15


def test_drift_alone_is_put_right_too(ride: Ride, write: Writer) -> None:
    engine = write("engine.csv", ENGINE, ahead_s=0.0, ppm=250.0)
    track = write("track.csv", TRACK, ahead_s=0.0, every=4)
    found = joined(engine, track)
    assert "ppm fast" in told(found, "clock_corrected")
    assert largest_error_s(found, ride, "coolant_c") < 0.15


@pytest.mark.parametrize("ahead_s", [0.0, 0.12, -0.15])
def test_clocks_that_agree_stand_and_the_offset_is_told(write: Writer, ahead_s: float) -> None:
    engine = write("engine.csv", ENGINE, ahead_s=ahead_s)
    track = write("track.csv", TRACK, ahead_s=0.0, every=4)
    found = joined(engine, track)
    assert "the clocks agree: the clock of engine.csv" in told(found, "clock_checked")
    assert found.start_utc == START + timedelta(seconds=min(ahead_s, 0.0))


def test_whole_seconds_of_a_logger_are_no_reason_to_move_it(ride: Ride, tmp_path: Path, write: Writer) -> None:
    write("track.csv", TRACK, ahead_s=0.0, every=4)
    table = ride.samples.drop_nulls(list(ENGINE)).gather_every(20)
    columns = {
        "Time": stamps(START, table["t_s"].floor(), "Z"),
        NAMES["engine_rpm"]: table["engine_rpm"],
        NAMES["coolant_c"]: table["coolant_c"],
    }
    pl.DataFrame(columns).unique("Time", keep="first", maintain_order=True).write_csv(tmp_path / "engine.csv")
    found = joined(tmp_path / "engine.csv", tmp_path / "track.csv")
    assert "clocks agree" in told(found, "clock_checked")


def test_of_two_loggers_the_first_named_keeps_its_clock(ride: Ride, write: Writer) -> None:
    one = write("one.csv", ("engine_rpm", "coolant_c"), ahead_s=0.0)
    two = write("two.csv", ("engine_rpm", "throttle_pct"), ahead_s=-500.0, ppm=80.0, every=2)
    found = joined(one, two)
    text = told(found, "clock_corrected")
    assert "8 min 20 s behind that of one.csv" in text
    assert "engine speed of both" in text
    assert "kept because it was named first" in text
    assert found.start_utc == START
    turned = joined(two, one)
    assert "that of one.csv was put right" in told(turned, "clock_corrected")
    assert turned.start_utc is not None
    assert abs((turned.start_utc - START).total_seconds() + 500.0) < 0.15


def test_a_receiver_whose_weeks_ran_over_keeps_the_second_and_not_the_day(ride: Ride, write: Writer) -> None:
    track = write("track.csv", TRACK, ahead_s=-1024 * 7 * 86_400.0, every=4)
    engine = write("engine.csv", ENGINE, ahead_s=25.0)
    found = joined(track, engine)
    assert found.start_utc is not None
    assert abs((found.start_utc - START).total_seconds()) < 0.15
    assert "1,024 weeks" in told(found, "week_rollover")


def test_two_loggers_that_share_only_a_temperature(write: Writer) -> None:
    one = write("one.csv", ("coolant_c",), ahead_s=0.0)
    two = write("two.csv", ("coolant_c",), ahead_s=-900.0, every=20, change=lambda _, values: values.round(0))
    found = joined(one, two)
    text = told(found, "clock_corrected")
    assert "15 min behind" in text or "14 min 59 s behind" in text or "15 min 1 s behind" in text
    assert "coolant temperature of both" in text
    assert "good to 3." in text
    assert found.channels["coolant_c"].source.startswith("one.csv")
    assert found.channels["coolant_c.2"].source.startswith("two.csv")


# -- more than two ----------------------------------------------------------------------------------------------------


def test_three_devices_each_with_a_clock_of_its_own(ride: Ride, write: Writer) -> None:
    engine = write("engine.csv", ENGINE, ahead_s=2220.0, ppm=100.0)
    track = write("track.csv", TRACK, ahead_s=0.0, every=4)
    third = write("third.csv", ("engine_rpm", "throttle_pct"), late_s=60.0, ppm=-100.0)
    found = joined(engine, track, third)
    assert "engine.csv" in told(found, "clock_corrected")
    assert "third.csv has no date" in told(found, "clock_placed")
    sources = {name: info.source.split(",")[0] for name, info in found.channels.items()}
    assert sources["engine_rpm"] == "engine.csv"
    assert sources["engine_rpm.2"] == "third.csv"
    assert sources["throttle_pct"] == "third.csv"
    assert sources["gps_speed_mps"] == "track.csv"
    assert largest_error_s(found, ride, "coolant_c") < 0.15
    shown = found.samples.filter(pl.col("throttle_pct").is_not_null())["t_s"].to_numpy()
    assert found.start_utc is not None
    assert shown[0] + (found.start_utc - START).total_seconds() == pytest.approx(60.0, abs=0.15)


def test_a_device_is_placed_through_another_where_the_kept_clock_has_nothing_in_common(write: Writer) -> None:
    track = write("track.csv", TRACK, ahead_s=0.0, every=4)
    heat = write("heat.csv", ("coolant_c",), late_s=30.0)
    engine = write("engine.csv", ENGINE)
    found = joined(track, heat, engine)
    texts = [note.text for note in found.notes if note.kind == "clock_placed"]
    assert len(texts) == 2
    assert any(text.startswith("heat.csv") and "against engine.csv" in text for text in texts)
    second = found.samples.filter(pl.col("coolant_c").is_not_null())["t_s"].to_numpy()
    assert second[0] == pytest.approx(30.0, abs=3.5)


# -- what can't be told -----------------------------------------------------------------------------------------------


def steady(name: str, values: pl.Series) -> pl.Series:
    return pl.Series(np.full(values.len(), 4000.0)) if name == "engine_rpm" else values


def test_an_engine_that_tells_nothing_is_refused_with_the_option_that_settles_it(write: Writer) -> None:
    engine = write("engine.csv", ("engine_rpm",), late_s=30.0, change=steady)
    track = write("track.csv", TRACK, ahead_s=0.0, every=4)
    with pytest.raises(InputRefused, match="its place in the ride can't be found") as caught:
        joined(engine, track)
    assert "--offset 'engine.csv=SECONDS'" in caught.value.to_do
    found = joined(engine, track, offsets=(("engine.csv", 30.0),))
    assert "engine.csv was placed +30 s after" in told(found, "clock_given")
    first = found.samples.filter(pl.col("engine_rpm").is_not_null())["t_s"][0]
    assert first == pytest.approx(30.0, abs=1e-6)


def test_constant_speed_with_overlapping_clocks_is_joined_and_told(write: Writer) -> None:
    engine = write("engine.csv", ("engine_rpm",), ahead_s=40.0, change=steady)
    track = write("track.csv", TRACK, ahead_s=0.0, every=4)
    text = told(joined(engine, track), "clock_unchecked")
    assert "could not be checked" in text
    assert "engine speed changes noticeably for only" in text


def test_constant_speed_with_clocks_hours_apart_is_refused(write: Writer) -> None:
    engine = write("engine.csv", ("engine_rpm",), ahead_s=7200.0, change=steady)
    track = write("track.csv", TRACK, ahead_s=0.0, every=4)
    with pytest.raises(InputRefused, match="share no moment") as caught:
        joined(engine, track)
    assert "--offset 'engine.csv=SECONDS'" in caught.value.to_do
    found = joined(engine, track, offsets=(("engine.csv", -7200.0),))
    assert found.start_utc == START


def test_files_with_nothing_in_common_are_joined_by_their_clocks_only(write: Writer) -> None:
    heat = write("heat.csv", ("coolant_c",), ahead_s=0.0)
    track = write("track.csv", ("lat_deg", "lon_deg"), ahead_s=0.0, every=4)
    assert "nothing in common to compare" in told(joined(heat, track), "clock_unchecked")
    late = write("late.csv", ("coolant_c",), ahead_s=86_400.0)
    with pytest.raises(InputRefused, match="23 h 36 min"):
        joined(late, track)


def test_another_ride_does_not_overrule_the_clocks(write: Writer) -> None:
    """The engine log of another day that bears this day's date is not moved to where it fits by chance."""
    other = read_rides([sample_logs.folder() / "rides" / "04-clean-radiators.tsv.gz"], OPTIONS)[0]
    engine = Writer(other, write.folder)("engine.csv", ("engine_rpm",), ahead_s=0.0)
    track = write("track.csv", TRACK, ahead_s=0.0, every=4)
    found = joined(engine, track)
    assert "could not be checked" in told(found, "clock_unchecked")


# -- the option -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("seconds", "says"), [(-2220.0, "the ride agrees with it"), (-2190.0, "check the offset that was given")]
)
def test_an_offset_that_was_given_is_kept_and_checked(ride: Ride, write: Writer, seconds: float, says: str) -> None:
    engine = write("engine.csv", ENGINE, ahead_s=2220.0)
    track = write("track.csv", TRACK, ahead_s=0.0, every=4)
    found = joined(engine, track, offsets=(("engine.csv", seconds),))
    assert says in told(found, "clock_given")
    assert largest_error_s(found, ride, "coolant_c") == pytest.approx(2220.0 + seconds, abs=1e-3)


@pytest.mark.parametrize("text", ["engine.csv", "engine.csv=", "=5", "engine.csv=soon", "a=nan", "a=inf", "a=1e12"])
def test_an_offset_that_says_nothing_is_refused(text: str) -> None:
    with pytest.raises(UsageError, match="not a file and seconds"):
        parse_offset_option(text)


def test_an_offset_names_one_file() -> None:
    assert parse_offset_option("my=log.csv=-37.5") == ("my=log.csv", -37.5)
    paths = [Path("a/log.csv"), Path("b/log.csv"), Path("c.gpx")]
    assert offset_of(paths, [("c.gpx", 5.0), ("a/log.csv", -1.0)]) == [-1.0, None, 5.0]
    for names in (["log.csv"], ["d.csv"], ["c.gpx", "c.gpx"]):
        with pytest.raises(UsageError, match="of this call"):
            offset_of(paths, [(name, 1.0) for name in names])


def test_an_offset_needs_files_read_together(write: Writer) -> None:
    engine = write("engine.csv", ENGINE, ahead_s=0.0)
    with pytest.raises(UsageError, match="read together"):
        read_rides([engine], ImportOptions(offsets=(("engine.csv", 5.0),)))


# -- laps, and a receiver's own file ----------------------------------------------------------------------------------


def laps(name: str, values: pl.Series) -> pl.Series:
    """The second third of the channel three times over: laps at one pace."""
    third = values.len() // 3
    once = values.slice(third, third)
    return pl.concat([once, once, once, values.slice(0, values.len() - 3 * third)])


def test_laps_at_one_pace_are_joined_where_the_clocks_put_them(ride: Ride, write: Writer) -> None:
    """Elsewhere they fit as well; near the clocks' own word they fit at one place."""
    both = (*ENGINE, "gps_speed_mps")
    engine = write("engine.csv", both, ahead_s=5.0, every=2, change=laps)
    table = pl.read_csv(engine)
    track = write("track.csv", both, ahead_s=0.0, every=2, change=laps)
    pl.read_csv(track).select("Time", NAMES["gps_speed_mps"]).write_csv(track)
    table.select("Time", *(NAMES[name] for name in ENGINE)).write_csv(engine)
    found = joined(track, engine)
    assert "ahead of that of track.csv" in told(found, "clock_corrected")
    assert found.start_utc is not None
    assert abs((found.start_utc - START).total_seconds()) < 0.15


def test_laps_without_a_date_are_refused_with_the_places_that_fit(write: Writer) -> None:
    both = (*ENGINE, "gps_speed_mps")
    engine = write("engine.csv", both, every=2, change=laps)
    track = write("track.csv", both, ahead_s=0.0, every=2, change=laps)
    pl.read_csv(track).select("Time", NAMES["gps_speed_mps"]).write_csv(track)
    lap = pl.read_csv(engine).select("Time [s]", *(NAMES[name] for name in ENGINE))
    lap.filter(pl.col("Time [s]") < 400.0).write_csv(engine)
    with pytest.raises(InputRefused, match="fits at more than one place") as caught:
        joined(engine, track)
    assert caught.value.to_do.count("--offset 'engine.csv=") >= 2


def test_a_receivers_own_file_is_right_before_a_logger_with_positions(write: Writer, ride: Ride) -> None:
    logger = write("logger.csv", (*ENGINE, "lat_deg", "lon_deg"), ahead_s=-600.0)
    fixes = ride.samples.drop_nulls(["lat_deg", "lon_deg"]).gather_every(20)
    points = "".join(
        f'<trkpt lat="{lat:.7f}" lon="{lon:.7f}"><time>{stamp}</time></trkpt>'
        for lat, lon, stamp in zip(fixes["lat_deg"], fixes["lon_deg"], stamps(START, fixes["t_s"], "Z"), strict=True)
    )
    track = write.folder / "track.gpx"
    track.write_text(
        '<?xml version="1.0"?><gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1">'
        f"<trk><trkseg>{points}</trkseg></trk></gpx>",
        encoding="utf-8",
    )
    found = joined(logger, track)
    text = told(found, "clock_corrected")
    assert "that of logger.csv was put right" in text
    assert "10 min behind that of track.gpx" in text or "59" in text
    assert found.start_utc is not None
    assert abs((found.start_utc - START).total_seconds()) < 0.3


# -- every engine log against every track -----------------------------------------------------------------------------

SAMPLES = sorted(path for path in (sample_logs.folder() / "rides").glob("[01]*") if not path.name.startswith("12"))


def verdict(engine_of: Path, track_of: Path, folder: Path, ahead_s: float | None) -> str:
    """What the import makes of the engine log of one sample ride and the track of another, or the same."""
    options = ImportOptions(timezone="UTC")
    one, two = read_rides([engine_of], options)[0], read_rides([track_of], options)[0]
    engine = Writer(one, folder)("engine.csv", ("engine_rpm",), ahead_s=ahead_s)
    track = Writer(two, folder)("track.csv", TRACK, ahead_s=0.0, every=4)
    try:
        found = joined(engine, track)
    except InputRefused:
        return "refused"
    return next(note.kind for note in found.notes if note.kind.startswith("clock_"))


EXPECTED = {0.0: ("clock_checked", "clock_unchecked"), 10_800.0: ("clock_corrected", "refused"),
            None: ("clock_placed", "refused")}  # fmt: skip


@pytest.mark.parametrize("ahead_s", EXPECTED)
def test_the_same_bike_on_the_same_loop_another_day_is_another_ride(tmp_path: Path, ahead_s: float | None) -> None:
    assert verdict(SAMPLES[0], SAMPLES[0], tmp_path, ahead_s) == EXPECTED[ahead_s][0]
    assert verdict(SAMPLES[0], SAMPLES[1], tmp_path, ahead_s) == EXPECTED[ahead_s][1]


@pytest.mark.slow
@pytest.mark.parametrize("ahead_s", EXPECTED)
def test_no_engine_log_is_joined_with_another_rides_track(tmp_path: Path, ahead_s: float | None) -> None:
    assert len(SAMPLES) == 11
    for one in SAMPLES:
        for two in SAMPLES:
            assert verdict(one, two, tmp_path, ahead_s) == EXPECTED[ahead_s][one != two], (one.name, two.name)
