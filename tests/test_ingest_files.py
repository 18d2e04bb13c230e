"""What the import meets in files: none at all, nothing in them, numbers without measure, archives with other things."""

from __future__ import annotations

import io
import os
import zipfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from ridelog.errors import InputRefused
from ridelog.export import export
from ridelog.ingest import ImportOptions, import_files, read_rides
from ridelog.ride import Ride
from ridelog.store.library import Library

HEADER = "Time [s],Coolant [C],Engine speed [rpm]"
GOOD = HEADER + "\n" + "".join(f"{n},{80 + n % 5},{4000 + n * 10}\n" for n in range(60))


@pytest.fixture
def library(tmp_path: Path) -> Library:
    return Library.open(tmp_path / "library")


def put(folder: Path, name: str, content: str | bytes) -> Path:
    path = folder / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


def zipped(**members: str | bytes) -> bytes:
    store = io.BytesIO()
    with zipfile.ZipFile(store, "w") as archive:
        for name, content in members.items():
            archive.writestr(name.replace("__", "."), content)
    return store.getvalue()


# -- no regular file --------------------------------------------------------------------------------------------------


def test_a_pipe_is_refused_and_never_waited_for(tmp_path: Path, library: Library) -> None:
    pipe = tmp_path / "pipe.csv"
    os.mkfifo(pipe)
    good = put(tmp_path, "good.csv", GOOD)
    for together in (False, True):
        outcomes = import_files(library, [pipe, good], ImportOptions(), together=together)
        assert "not a regular file" in str(outcomes[0].reason)
    with pytest.raises(InputRefused, match="not a regular file"):
        read_rides([pipe], ImportOptions())
    link = tmp_path / "link.csv"
    link.symlink_to(pipe)
    with pytest.raises(InputRefused, match="not a regular file"):
        read_rides([link], ImportOptions())
    with pytest.raises(InputRefused, match="not a regular file"):
        read_rides([good], ImportOptions(description=pipe))


@pytest.mark.parametrize("device", ["/dev/null", "/dev/zero", "/dev/urandom"])
def test_devices_are_refused(device: str, library: Library) -> None:
    path = Path(device)
    if not path.exists():
        pytest.fail("the machine has no such device to try")
    (outcome,) = import_files(library, [path], ImportOptions())
    assert "not a regular file" in str(outcome.reason)


def test_a_file_that_says_it_is_empty_is_not_opened(tmp_path: Path, library: Library) -> None:
    # The system's own files say so and may wait for ever when read.
    path = put(tmp_path, "empty.csv", b"")
    path.chmod(0)
    (outcome,) = import_files(library, [path], ImportOptions())
    assert "empty" in str(outcome.reason)


# -- nothing in it ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("header", "row"),
    [
        ("Time [s],Coolant [C]", "{n},"),
        ("Time [s],Coolant [C]", "{n},warm"),
        ("Time [s],Something", "{n},"),
        ("Time [s],Something", "{n},word"),
        ("Time [s],Coolant [C],Engine speed [rpm]", "{n},,"),
        ("Time [s],Coolant [C]", "{n},1e300"),
    ],
)
def test_a_log_without_a_value_is_refused(header: str, row: str, tmp_path: Path, library: Library) -> None:
    path = put(tmp_path, "a.csv", header + "\n" + "".join(row.format(n=n) + "\n" for n in range(100)))
    with pytest.raises(InputRefused, match="no channel holds a value"):
        read_rides([path], ImportOptions())
    (outcome,) = import_files(library, [path], ImportOptions())
    assert outcome.status == "refused"
    assert library.list_rides() == []


def test_a_recording_without_a_value_is_left_out_beside_others(tmp_path: Path) -> None:
    rows = [f"{n},,\n" for n in range(50)] + [f"{n},80,5000\n" for n in range(50)]
    (ride,) = read_rides([put(tmp_path, "a.csv", HEADER + "\n" + "".join(rows))], ImportOptions())
    assert ride.samples.height == 50
    assert next(note.rows for note in ride.notes if note.kind == "left_out_empty") == 50


# -- numbers without measure ------------------------------------------------------------------------------------------


def values(ride: Ride) -> np.ndarray:
    columns = [ride.samples[name] for name, dtype in ride.samples.schema.items() if dtype == pl.Float64]
    return np.concatenate([column.drop_nulls().to_numpy() for column in columns])


@pytest.mark.parametrize("wild", ["1e308", "-1e308", "1.7976931348623157e308", "1e200", "1e13", "-9e99"])
@pytest.mark.parametrize("column", [0, 1, 2, 3, 4, 5, 6])
def test_absurd_numbers_count_as_no_value(wild: str, column: int, tmp_path: Path, library: Library) -> None:
    lines = []
    for n in range(120):
        cells = [
            str(n),
            str(80 + n % 5),
            str(4000 + n * 10),
            str(30 + n % 9),
            str(47 + n / 1e4),
            str(8 + n / 1e4),
            str(n % 3),
        ]
        if n in (50, 51):
            cells[column] = wild if n == 50 else wild.removeprefix("-")
        lines.append(",".join(cells))
    header = HEADER + ",GPS speed [km/h],Latitude,Longitude,Something"
    path = put(tmp_path, "a.csv", header + "\n" + "\n".join(lines) + "\n")
    outcome, *others = import_files(library, [path], ImportOptions())
    assert not others or column == 0  # a jump of the clock begins another ride
    assert outcome.status == "stored", outcome.reason
    ride = library.load(str(outcome.ride_id))
    assert np.isfinite(values(ride)).all()
    canonical = [name for name in ride.samples.columns if not name.startswith("raw.") and name != "time_utc"]
    assert all(
        float(np.abs(ride.samples[name].drop_nulls().to_numpy()).max()) <= 1e12 for name in canonical if name != "t_s"
    )
    if 0 < column < 6:
        assert next(note.rows for note in outcome.notes if note.kind == "absurd_values") == 2


def test_a_fault_while_storing_is_a_refusal_of_that_file(
    tmp_path: Path, library: Library, monkeypatch: pytest.MonkeyPatch
) -> None:
    add = Library.add

    def fail(self: Library, ride: Ride, paths: list[Path]) -> object:
        if paths[0].name == "bad.csv":
            raise ValueError("out of range")
        return add(self, ride, paths)

    monkeypatch.setattr(Library, "add", fail)
    files = [put(tmp_path, "bad.csv", GOOD), put(tmp_path, "good.csv", GOOD.replace("80", "81"))]
    outcomes = import_files(library, files, ImportOptions())
    assert [outcome.status for outcome in outcomes] == ["refused", "stored"]
    assert "out of range" in str(outcomes[0].reason)


@pytest.mark.parametrize("before", ["", "1,80\n" * 5, "1,80\n" * 100_000])
@pytest.mark.parametrize("quoted", [False, True])
def test_a_line_without_end_is_refused(before: str, quoted: bool, tmp_path: Path) -> None:
    first = '"0","80"\n' if quoted else ""
    path = put(tmp_path, "a.csv", "Time [s],Coolant [C]\n" + first + before + "1," * 5_000_000)
    with pytest.raises(InputRefused, match="longer than") as caught:
        read_rides([path], ImportOptions())
    assert "a.csv" in caught.value.where


def test_in_a_track_of_three_days_a_doubted_day_is_told_of_its_own_ride_alone(tmp_path: Path) -> None:
    begun = [datetime(*day, 9, tzinfo=UTC) for day in ((2001, 5, 26), (2024, 6, 1), (2024, 6, 2))]
    segments = "".join(
        "<trkseg>"
        + "".join(
            f'<trkpt lat="{43.2 + n * 1e-4:.5f}" lon="-31.6"><time>{(day + timedelta(seconds=n)).isoformat()}</time>'
            "</trkpt>"
            for n in range(120)
        )
        + "</trkseg>"
        for day in begun
    )
    rides = read_rides([put(tmp_path, "days.gpx", f'<gpx version="1.1"><trk>{segments}</trk></gpx>')], ImportOptions())
    assert [ride.start_utc for ride in rides] == begun
    told = [[note.text for note in ride.notes if "2001-05-26" in note.text] for ride in rides]
    assert [len(texts) for texts in told] == [1, 0, 0]


# -- archives ---------------------------------------------------------------------------------------------------------


def test_what_is_no_log_in_an_archive_is_passed_over(tmp_path: Path) -> None:
    members = {
        "readme__txt": "Logs of a day in May.\nThanks for looking, have a good ride, and mind the heat.\n",
        "photo__png": b"\x89PNG\r\n\x1a\n" + bytes(200),
        "good__csv": GOOD,
        "list__txt": "ride,remark\nfirst,dusty\nsecond,muddy\n",
    }
    (ride,) = read_rides([put(tmp_path, "day.zip", zipped(**members))], ImportOptions())
    assert ride.samples.height == 60
    passed = [note.text for note in ride.notes if note.kind == "member_passed_over"]
    assert len(passed) == 3
    assert any("readme.txt" in text for text in passed)


def test_a_broken_log_in_an_archive_is_not_passed_over(tmp_path: Path) -> None:
    broken = HEADER + "\n" + "".join(f"{n},80\n" for n in range(60))
    with pytest.raises(InputRefused, match="do not fit the header"):
        read_rides([put(tmp_path, "day.zip", zipped(good__csv=GOOD, broken__csv=broken))], ImportOptions())


def test_an_archive_without_a_log_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputRefused, match=r"day\.zip"):
        read_rides([put(tmp_path, "day.zip", zipped(readme__txt="Hello.\n", other__txt="Bye.\n"))], ImportOptions())


# -- ridelog's own export ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("dated", [True, False])
def test_an_exported_ride_comes_back(dated: bool, tmp_path: Path) -> None:
    start = datetime(2026, 5, 2, 9, 30, 0, 123_000, tzinfo=UTC)
    rows = []
    for n in range(600):
        t = n * 0.05
        stamp = (
            datetime.fromtimestamp(start.timestamp() + t, UTC).isoformat(timespec="milliseconds")
            if dated
            else f"{t:.2f}"
        )
        rows.append(f"{stamp},{80 + n % 5},{4000 + n},{20 + n % 7}\n")
    header = ("Timestamp" if dated else "Time [s]") + ",Coolant [C],Engine speed [rpm],GPS speed [km/h]\n"
    (ride,) = read_rides([put(tmp_path, "a.csv", header + "".join(rows))], ImportOptions())
    export(ride, tmp_path / "out.csv")
    (again,) = read_rides([tmp_path / "out.csv"], ImportOptions())
    assert again.start_utc == ride.start_utc
    assert (again.start_utc is not None) == dated
    np.testing.assert_allclose(again.samples["t_s"].to_numpy(), ride.samples["t_s"].to_numpy(), atol=1e-6)
    for name in ("coolant_c", "engine_rpm", "gps_speed_mps"):
        np.testing.assert_allclose(again.samples[name].to_numpy(), ride.samples[name].to_numpy(), rtol=1e-12)
    assert not any("no unit" in note.text for note in again.notes)
