"""How recordings would be joined, before they are: the same place the import gives them, or why it is not known."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from test_ingest_together import ENGINE, TRACK, Writer, laps, ride, steady, write

from ridelog.errors import AmbiguousColumn
from ridelog.ingest import ImportOptions, read_rides
from ridelog.ingest_alignment import Alignment, Lying, align_files, told_offset_s
from ridelog.ingest_compare import Side
from ridelog.ride import Ride
from ridelog.store.library import Library
from ridelog.words import alignment as words

__all__ = ["ride", "write"]


@pytest.fixture
def library(tmp_path: Path) -> Library:
    return Library.open(tmp_path / "library")


def aligned(library: Library, *paths: Path) -> tuple[Alignment, Lying]:
    """The alignment of two files, and the one whose clock is not kept."""
    found = align_files(library, paths, ImportOptions())
    (other,) = [one for number, one in enumerate(found.recordings) if number != found.kept]
    return found, other


def begins_s(path: Path, other: Path, channel: str, *offsets: tuple[str, float]) -> float:
    """Where a channel begins in the ride that is joined of two files."""
    (joint,) = read_rides([path, other], ImportOptions(offsets=offsets), together=True)
    return float(joint.samples.filter(joint.samples[channel].is_not_null())["t_s"][0])


def test_what_is_shown_is_what_is_stored(library: Library, write: Writer) -> None:
    engine = write("engine.csv", ENGINE, late_s=37.4, ppm=150.0)
    track = write("track.csv", TRACK, ahead_s=0.0, every=4)
    found, one = aligned(library, engine, track)
    assert found.known
    assert found.kept == 1
    assert one.by == "measured"
    assert one.start_s == pytest.approx(37.4, abs=0.15)
    assert one.drift_ppm == pytest.approx(-150.0, abs=30.0)
    assert one.error_s is not None
    assert one.error_s < 0.3
    assert one.start_s == pytest.approx(begins_s(engine, track, "coolant_c"), abs=2e-3)
    assert library.list_rides() == []


def test_the_two_curves_lie_over_each_other_at_their_place(library: Library, write: Writer) -> None:
    engine = write("engine.csv", ENGINE, late_s=37.4)
    track = write("track.csv", TRACK, ahead_s=0.0, every=4)
    one = aligned(library, engine, track)[1]
    assert one.own is not None
    assert one.beside is not None
    assert (one.own.channel, one.beside.channel) == ("engine_rpm", "gps_speed_mps")

    def agreement(shift_s: float) -> float:
        assert one.own is not None
        assert one.beside is not None
        at = one.own.first_s + shift_s + one.own.step_s * np.arange(one.own.values.size)
        other = np.interp(at, one.beside.first_s + one.beside.step_s * np.arange(one.beside.values.size),
                          one.beside.values, left=np.nan, right=np.nan)  # fmt: skip
        both = np.isfinite(other) & np.isfinite(one.own.values)
        return float(np.corrcoef(np.diff(other[both], 20), np.diff(one.own.values[both], 20))[0, 1])

    here = agreement(0.0)
    assert all(agreement(shift_s) < here for shift_s in (-20.0, -3.0, 3.0, 20.0))


@pytest.mark.parametrize("ahead_s", [0.0, 40.0])
def test_a_place_the_user_tells_is_the_place_it_gets(library: Library, write: Writer, ahead_s: float) -> None:
    dated = write("dated.csv", ("engine_rpm",), ahead_s=ahead_s, change=steady)
    track = write("track.csv", TRACK, ahead_s=0.0, every=4)
    one = aligned(library, dated, track)[1]
    assert one.by == "clock"
    assert one.start_s == pytest.approx(ahead_s)
    assert "could not be checked" in one.reason
    assert one.error_s is None
    told = told_offset_s(one, 12.5)
    assert begins_s(dated, track, "engine_rpm", ("dated.csv", told)) == pytest.approx(12.5, abs=1e-6)


def test_a_recording_whose_place_is_not_known_says_why(library: Library, write: Writer) -> None:
    engine = write("engine.csv", ("engine_rpm",), late_s=30.0, change=steady)
    track = write("track.csv", TRACK, ahead_s=0.0, every=4)
    found, one = aligned(library, engine, track)
    assert not found.known
    assert one.by == "open"
    assert "can't be found" in one.reason
    assert "--" not in one.reason
    assert told_offset_s(one, 30.0) == 30.0
    assert one.own is not None
    assert one.beside is not None


def test_clocks_hours_apart_are_open_and_a_told_place_counts_from_the_kept_one(library: Library, write: Writer) -> None:
    engine = write("engine.csv", ("engine_rpm",), ahead_s=7200.0, change=steady)
    track = write("track.csv", TRACK, ahead_s=0.0, every=4)
    found, one = aligned(library, engine, track)
    assert not found.known
    assert one.clock_s == pytest.approx(7200.0)
    assert begins_s(engine, track, "engine_rpm", ("engine.csv", told_offset_s(one, 3.0))) == pytest.approx(3.0)


def test_clocks_that_agree_stand_and_are_said_to_be_checked(library: Library, write: Writer) -> None:
    engine = write("engine.csv", ENGINE, ahead_s=0.12)
    track = write("track.csv", TRACK, ahead_s=0.0, every=4)
    one = aligned(library, engine, track)[1]
    assert one.by == "checked"
    assert one.start_s == pytest.approx(0.12, abs=1e-6)
    assert one.drift_ppm is None
    assert one.confidence is not None


def test_all_places_that_fit_are_offered(library: Library, write: Writer) -> None:
    import polars as pl

    both = (*ENGINE, "gps_speed_mps")
    engine = write("engine.csv", both, every=2, change=laps)
    track = write("track.csv", both, ahead_s=0.0, every=2, change=laps)
    pl.read_csv(track).select("Time", "GPS speed [m/s]").write_csv(track)
    pl.read_csv(engine).select("Time [s]", "Engine speed [rpm]").filter(pl.col("Time [s]") < 400.0).write_csv(engine)
    found, one = aligned(library, engine, track)
    assert not found.known
    assert len(one.places_s) >= 2
    assert one.start_s == one.places_s[0]


def test_files_with_nothing_in_common_lie_by_their_clocks(library: Library, write: Writer) -> None:
    heat = write("heat.csv", ("coolant_c",), ahead_s=0.0)
    track = write("track.csv", ("lat_deg", "lon_deg"), ahead_s=0.0, every=4)
    one = aligned(library, heat, track)[1]
    assert one.by == "clock"
    assert "nothing in common" in one.reason
    assert one.own is not None


def test_three_recordings_are_each_told_against_one_already_placed(library: Library, write: Writer) -> None:
    engine = write("engine.csv", ENGINE, late_s=20.0)
    heat = write("heat.csv", ("engine_rpm", "throttle_pct"), late_s=50.0)
    track = write("track.csv", TRACK, ahead_s=0.0, every=4)
    found = align_files(library, [engine, heat, track], ImportOptions())
    assert found.kept == 2
    assert [round(one.start_s) for one in found.recordings] == [20, 50, 0]
    assert found.recordings[0].against == 2


def test_a_column_that_fits_two_meanings_is_asked_about_first(library: Library, tmp_path: Path, write: Writer) -> None:
    track = write("track.csv", TRACK, ahead_s=0.0, every=4)
    rows = "\n".join(f"{t},{3000 + t % 50},{t % 40}" for t in range(400))
    asks = tmp_path / "asks.csv"
    asks.write_text(f"Time s,RPM,Speed km/h\n{rows}\n", encoding="utf-8")
    with pytest.raises(AmbiguousColumn):
        align_files(library, [track, asks], ImportOptions())


def test_words_say_where_how_fast_and_how_sure() -> None:
    assert words.starts("track.csv", 37.4) == "begins 37.4 s after track.csv"
    assert words.starts("track.csv", -4000.0) == "begins 1 h 06 min 40 s before track.csv"
    assert "slow" in words.pace(150.0)
    assert "0.54 s an hour" in words.pace(150.0)
    assert "keeps" in words.pace(0.2)
    assert "not measured" in words.pace(None)
    assert "0.12 s" in words.certainty(0.95, 0.12, 2400.0, "engine speed against ground speed")


def test_nothing_to_draw_is_nothing(ride: Ride) -> None:
    from ridelog.ingest_compare import telling_side

    side = telling_side(ride)
    assert isinstance(side, Side)
    assert side.signal.t_s.size == side.signal.values.size
