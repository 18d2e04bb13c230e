"""The whole way from files to rides and into the library."""

from __future__ import annotations

import gzip
import random
import sys
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import polars as pl
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parent / "readers"))

from build_logs import START, Form, iso, write
from contract import check_ride, left_out

import sample_logs
from ridelog import ingest, quality
from ridelog.bike import read_bike
from ridelog.errors import InputRefused, LibraryError, RidelogError, UsageError
from ridelog.ingest import ImportOptions, import_files, parse_column_option, read_rides
from ridelog.store.library import Library

LOG = write(Form())
DATED = write(Form(header=("Timestamp", *Form().header[1:]), time=iso))
TWO = write(Form(edit=lambda lines: [*lines, *lines]))


@pytest.fixture
def library(tmp_path: Path) -> Library:
    return Library.open(tmp_path / "library")


def put(folder: Path, name: str, content: bytes) -> Path:
    path = folder / name
    path.write_bytes(content)
    return path


# -- options ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "name", "channel", "unit"),
    [
        ("Temp=coolant_c:F", "Temp", "coolant_c", "F"),
        ("T=U=time:ms", "T=U", "time", "ms"),
        ("Speed [km/h]=wheel_speed_mps", "Speed", "wheel_speed_mps", None),
        (" Datum = time : dmy ", "Datum", "time", "dmy"),
        ("Note=raw", "Note", "raw", None),
        ("TPS=throttle_pct:V", "TPS", "throttle_pct", "V"),
    ],
)
def test_column_options(text: str, name: str, channel: str, unit: str | None) -> None:
    choice = parse_column_option(text)
    assert name in choice.names
    assert (choice.channel, choice.unit) == (channel, unit)


@pytest.mark.parametrize(
    "text",
    [
        "nonsense",
        "=coolant_c",
        "Temp=",
        "Temp=coolant:C",
        "Temp=coolant_c:km/h",
        "T=time:C",
        "X=time_utc",
        "Temp=coolant_c:xyz",
    ],
)
def test_column_options_that_cannot_be(text: str) -> None:
    with pytest.raises(UsageError) as caught:
        parse_column_option(text)
    assert caught.value.expected
    assert "--column" in caught.value.where


def test_a_wrong_channel_names_a_near_one() -> None:
    with pytest.raises(UsageError, match="coolant_c"):
        parse_column_option("Temp=coolent_c:C")


def test_a_start_needs_a_zone(tmp_path: Path) -> None:
    path = put(tmp_path, "a.csv", LOG)
    naive = datetime(2026, 5, 3, 10)  # noqa: DTZ001
    with pytest.raises(UsageError, match="no time zone"):
        read_rides([path], ImportOptions(start=naive))
    ride = read_rides([path], ImportOptions(start=naive, timezone="+02:00"))[0]
    assert ride.start_utc == datetime(2026, 5, 3, 8, tzinfo=UTC)
    assert ride.timezone == "+02:00"
    assert ride.id.startswith("20260503-0800-")


@pytest.mark.parametrize("options", [ImportOptions(timezone="Mars/North"), ImportOptions(format="nothing")])
def test_options_that_cannot_be_carried_out(options: ImportOptions, tmp_path: Path, library: Library) -> None:
    path = put(tmp_path, "a.csv", LOG)
    with pytest.raises(UsageError):
        import_files(library, [path], options)
    assert library.list_rides() == []


# -- rides ------------------------------------------------------------------------------------------------------------


def test_a_ride_carries_what_the_user_said(tmp_path: Path) -> None:
    path = put(tmp_path, "a.csv", DATED)
    ride = read_rides([path], ImportOptions(bike_id="dune-07", ambient_c=21.5))[0]
    check_ride(ride)
    assert (ride.bike, ride.ambient_c, ride.condition) == ("dune-07", 21.5, "unknown")
    assert ride.start_utc == START
    assert ride.timezone == "UTC"
    assert ride.sources[0].name == "a.csv"
    assert ride.sources[0].format == "delimited"


def test_the_id_comes_from_the_content_alone(tmp_path: Path) -> None:
    one = read_rides([put(tmp_path, "a.csv", LOG)], ImportOptions())[0]
    two = read_rides([put(tmp_path, "b.csv", LOG)], ImportOptions(ambient_c=3.0))[0]
    other = read_rides([put(tmp_path, "c.csv", DATED)], ImportOptions())[0]
    assert one.id == two.id
    assert one.id.startswith("undated-")
    assert other.id.startswith("20260503-0815-")


def test_reading_twice_gives_the_same_ride(tmp_path: Path) -> None:
    path = put(tmp_path, "a.csv", TWO)
    first, second = read_rides([path], ImportOptions()), read_rides([path], ImportOptions())
    for a, b in zip(first, second, strict=True):
        assert a.samples.equals(b.samples)
        assert replace(a, samples=b.samples) == b


def test_two_recordings_in_one_file_are_two_rides(tmp_path: Path) -> None:
    rides = read_rides([put(tmp_path, "a.csv", TWO)], ImportOptions())
    assert [ride.samples.height for ride in rides] == [600, 600]
    assert rides[0].samples.equals(rides[1].samples)
    assert len({ride.id for ride in rides}) == 2
    assert all("part" in {note.kind for note in ride.notes} for ride in rides)


def test_rows_in_are_rows_kept_and_rows_reported(tmp_path: Path) -> None:
    draw = random.Random(5)  # noqa: S311
    lines = LOG.decode().splitlines()
    for at in sorted(draw.sample(range(5, 600), 6), reverse=True):
        lines.insert(at, draw.choice([lines[at - 1], "# remark", "1,2,3,4,5,6,7", "x,1,2,3,4,5"]))
    ride = read_rides([put(tmp_path, "a.csv", "\n".join(lines).encode() + b"\n")], ImportOptions())[0]
    assert ride.samples.height + left_out(ride.notes) == len(lines) - 1


@pytest.mark.parametrize("folder", ["rides"])
def test_the_sample_rides_have_no_false_marks(folder: str) -> None:
    for path in sorted((sample_logs.folder() / folder).iterdir()):
        if path.suffix == ".md":
            continue
        for ride in read_rides([path], ImportOptions()):
            check_ride(ride)
            assert {mark.kind for mark in ride.quality} <= {"dropout"}, path.name


def test_together(tmp_path: Path) -> None:
    engine = put(tmp_path, "engine.csv", DATED)
    moments = [(START + timedelta(seconds=n - 5)).isoformat() for n in range(200)]
    points = "".join(
        f'<trkpt lat="{43.2 + n * 1e-5:.5f}" lon="-31.6"><time>{moment}</time></trkpt>'
        for n, moment in enumerate(moments)
    )
    track = put(tmp_path, "track.gpx", f'<gpx version="1.1"><trk><trkseg>{points}</trkseg></trk></gpx>'.encode())
    (ride,) = read_rides([engine, track], ImportOptions(), together=True)
    check_ride(ride)
    assert ride.start_utc == START - timedelta(seconds=5)
    assert [source.name for source in ride.sources] == ["engine.csv", "track.gpx"]
    assert ride.channels["lat_deg"].source.startswith("track.gpx")
    assert ride.channels["coolant_c"].source.startswith("engine.csv")
    assert ride.channels["gps_speed_mps"].origin == "logged"
    assert ride.samples["coolant_c"].count() == 600
    assert ride.samples["lat_deg"].count() == 200
    assert read_rides([track, engine], ImportOptions(), together=True)[0].id == ride.id


def test_together_needs_one_clock(tmp_path: Path) -> None:
    paths = [put(tmp_path, "a.csv", DATED), put(tmp_path, "b.csv", LOG)]
    with pytest.raises(InputRefused) as caught:
        read_rides(paths, ImportOptions(), together=True)
    assert "b.csv" in caught.value.where
    with pytest.raises(InputRefused, match="holds 2 rides"):
        read_rides([paths[0], put(tmp_path, "c.csv", TWO)], ImportOptions(), together=True)
    with pytest.raises(UsageError, match="--start"):
        read_rides(paths, ImportOptions(start=START), together=True)


# -- the library ------------------------------------------------------------------------------------------------------


def test_import_and_import_again(tmp_path: Path, library: Library) -> None:
    path = put(tmp_path, "a.csv", LOG)
    first = import_files(library, [path], ImportOptions())
    assert [outcome.status for outcome in first] == ["stored"]
    loaded = library.load(first[0].ride_id or "")
    assert loaded.samples.equals(read_rides([path], ImportOptions())[0].samples)
    renamed = put(tmp_path, "renamed.csv", LOG)
    again = import_files(library, [renamed], ImportOptions(start=START))
    assert [(outcome.status, outcome.ride_id) for outcome in again] == [("already_stored", first[0].ride_id)]
    assert len(library.list_rides()) == 1


def test_a_large_file_is_recognised_too(tmp_path: Path, library: Library, monkeypatch: pytest.MonkeyPatch) -> None:
    path = put(tmp_path, "a.csv", LOG)
    monkeypatch.setattr(ingest, "_LARGE_BYTES", 0)
    assert [outcome.status for outcome in import_files(library, [path], ImportOptions())] == ["stored"]
    assert [outcome.status for outcome in import_files(library, [path], ImportOptions(start=START))] == [
        "already_stored"
    ]
    assert len(library.list_rides()) == 1


def test_a_refused_file_never_stops_the_others(tmp_path: Path, library: Library) -> None:
    paths = [
        put(tmp_path, "bad.csv", b"<html>"),
        put(tmp_path, "good.csv", LOG),
        tmp_path / "gone.csv",
        put(tmp_path, "two.csv", TWO),
    ]
    told: list[str] = []
    outcomes = import_files(library, paths, ImportOptions(), progress=told.append)
    assert [outcome.status for outcome in outcomes] == ["refused", "stored", "refused", "stored", "stored"]
    assert [outcome.files[0].name for outcome in outcomes] == ["bad.csv", "good.csv", "gone.csv", "two.csv", "two.csv"]
    assert outcomes[0].reason is not None
    assert "bad.csv" in outcomes[0].reason
    assert outcomes[0].ride_id is None
    assert isinstance(outcomes[0].error, InputRefused)
    assert any("good.csv" in text for text in told)
    assert len(library.list_rides()) == 3


def test_a_ride_missing_from_a_file_of_two_is_added(tmp_path: Path, library: Library) -> None:
    path = put(tmp_path, "two.csv", TWO)
    first = import_files(library, [path], ImportOptions())
    library.remove(first[1].ride_id or "")
    again = import_files(library, [path], ImportOptions())
    assert [outcome.status for outcome in again] == ["already_stored", "stored"]
    assert [outcome.ride_id for outcome in again] == [outcome.ride_id for outcome in first]


@pytest.mark.parametrize("fault", [ZeroDivisionError, pl.exceptions.PanicException, MemoryError])
def test_a_fault_in_a_reader_is_a_refusal_that_says_so(
    tmp_path: Path, library: Library, monkeypatch: pytest.MonkeyPatch, fault: type[BaseException]
) -> None:
    from ridelog.readers.delimited import DelimitedReader

    def fail(*_: object) -> None:
        raise fault("made to fail")

    monkeypatch.setattr(DelimitedReader, "read", fail)
    paths = [put(tmp_path, "a.csv", LOG), put(tmp_path, "b.csv", DATED)]
    outcomes = import_files(library, paths, ImportOptions())
    assert [outcome.status for outcome in outcomes] == ["refused", "refused"]
    words = "this machine's memory" if fault is MemoryError else "a fault of ridelog and not of the file"
    assert words in str(outcomes[0].reason)


def test_a_key_pressed_is_no_fault(tmp_path: Path, library: Library, monkeypatch: pytest.MonkeyPatch) -> None:
    from ridelog.readers.delimited import DelimitedReader

    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(DelimitedReader, "read", stop)
    with pytest.raises(KeyboardInterrupt):
        import_files(library, [put(tmp_path, "a.csv", LOG)], ImportOptions())


def test_a_library_that_fails_is_no_refusal(tmp_path: Path, library: Library, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise LibraryError("the disk is full")

    monkeypatch.setattr(Library, "add", full)
    with pytest.raises(LibraryError):
        import_files(library, [put(tmp_path, "a.csv", LOG)], ImportOptions())


def test_a_file_that_changes_meanwhile_is_refused(
    tmp_path: Path, library: Library, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = put(tmp_path, "a.csv", LOG)
    real = quality.find_marks

    def append(*arguments: object) -> object:
        path.write_bytes(LOG + b"301.0,90,5000,50,36,1\n")
        return real(*arguments)  # type: ignore[arg-type]

    monkeypatch.setattr(quality, "find_marks", append)
    (outcome,) = import_files(library, [path], ImportOptions())
    assert outcome.status == "refused"
    assert "changed while" in str(outcome.reason)
    assert library.list_rides() == []


def test_sample_rides_with_their_bike(tmp_path: Path) -> None:
    folder = sample_logs.folder()
    bike = read_bike(folder / "bikes" / "enduro-21.bike.toml")
    (ride,) = read_rides([folder / "rides" / "08-long-ride.csv.gz"], ImportOptions(bike=bike, bike_id=bike.id))
    assert set(ride.samples["map_slot"].drop_nulls()) == {1.0, 2.0}
    assert ride.samples["map_slot"].null_count() == 0
    assert ride.peak_c is not None
    assert 80 < ride.peak_c < 130


# -- whatever comes ---------------------------------------------------------------------------------------------------


@st.composite
def tables(draw: st.DrawFn) -> tuple[list[list[float | None]], str, str, str, str]:
    rows = draw(st.integers(3, 25))
    columns = []
    for low, high in ((20, 118), (1500, 9000), (0, 100)):
        cell = st.none() | st.integers(low * 10, high * 10).map(lambda v: v / 10)
        columns.append(draw(st.lists(cell, min_size=rows, max_size=rows)))
    separator = draw(st.sampled_from([",", ";", "\t", "|"]))
    decimal = draw(st.sampled_from([".", ","])) if separator != "," else "."
    return (
        columns,
        separator,
        decimal,
        draw(st.sampled_from(["\n", "\r\n", "\r"])),
        draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16"])),
    )


@settings(deadline=None, max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(tables())
def test_random_tables_in_random_dialects_come_back(
    tmp_path: Path, table: tuple[list[list[float | None]], str, str, str, str]
) -> None:
    columns, separator, decimal, newline, encoding = table
    rows = len(columns[0])
    assume(any(value is not None for column in columns for value in column))  # a log without a value is refused
    header = separator.join(("Time [s]", "Coolant [C]", "Engine speed [rpm]", "Throttle [%]"))
    lines = [header]
    for row in range(rows):
        cells = [f"{row / 10:.1f}", *("" if column[row] is None else f"{column[row]:.1f}" for column in columns)]
        lines.append(separator.join(cells).replace(".", decimal))
    path = put(tmp_path, "a.csv", (newline.join(lines) + newline).encode(encoding))
    (ride,) = read_rides([path], ImportOptions())
    check_ride(ride)
    assert ride.samples.height == rows
    for name, column in zip(("coolant_c", "engine_rpm", "throttle_pct"), columns, strict=True):
        if any(value is not None for value in column):
            assert ride.samples[name].to_list() == column
        else:
            assert name not in ride.samples.columns


@settings(deadline=None, max_examples=200, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_any_damage_gives_a_sound_ride_or_a_plain_refusal(tmp_path: Path, data: st.DataObject) -> None:
    content = bytearray(data.draw(st.sampled_from([LOG[:4000], DATED[:4000], gzip.compress(LOG)])))
    for _ in range(data.draw(st.integers(0, 8))):
        at = data.draw(st.integers(0, len(content) - 1))
        content[at] = data.draw(st.integers(0, 255))
    path = put(tmp_path, "a.csv", bytes(content[: data.draw(st.integers(0, len(content)))]))
    refused: RidelogError | None = None
    try:
        rides = read_rides([path], ImportOptions())
    except RidelogError as error:
        refused, rides = error, []
    for ride in rides:
        check_ride(ride)
    if refused is not None:
        assert isinstance(refused, InputRefused)
        assert "fault of ridelog" not in refused.found
        assert "a.csv" in refused.where


def test_time_columns_the_clock_did_not_use_are_kept(tmp_path: Path) -> None:
    text = "Time [s],Clock,Coolant [C]\n" + "".join(f"{n / 10:.1f},10:00:{n // 10:02d},80\n" for n in range(100))
    (ride,) = read_rides([put(tmp_path, "a.csv", text.encode())], ImportOptions())
    assert ride.samples["t_s"][-1] == pytest.approx(9.9)
    assert ride.samples.schema["raw.Clock"] == pl.String


def test_a_finer_counter_is_dated_by_the_receivers_time(tmp_path: Path) -> None:
    lines = ["Time [s],UTC,Coolant [C]"]
    for n in range(400):
        moment = START + timedelta(seconds=int(0.3 + n * 0.05))
        lines.append(f"{n * 0.05:.2f},{moment.isoformat()},80")
    (ride,) = read_rides([put(tmp_path, "a.csv", "\n".join(lines).encode() + b"\n")], ImportOptions())
    assert ride.duration_s == pytest.approx(19.95)
    assert ride.start_utc is not None
    assert abs((ride.start_utc - START).total_seconds() - 0.3) < 0.06
    assert ride.samples["time_utc"][0] == ride.start_utc
    assert "dated_by" in {note.kind for note in ride.notes}


def test_of_two_fine_clocks_the_dated_one_is_used(tmp_path: Path) -> None:
    text = "Time [s],Timestamp,Coolant [C]\n" + "".join(f"{n / 10:.1f},{iso(n / 10)},80\n" for n in range(100))
    (ride,) = read_rides([put(tmp_path, "a.csv", text.encode())], ImportOptions())
    assert ride.start_utc == START
    assert "raw.Time" in ride.samples.columns
