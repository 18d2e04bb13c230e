"""Open logs read in place; each must come out as its description says (the README beside the files).

Car logs: KIT Automotive OBD-II Dataset, DOI 10.35097/1130, CC BY 4.0. GPX: test files of gpxpy (Apache-2.0) and of
togeojson (BSD-2-Clause).
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent.parent / "readers"))

from contract import check_ride, left_out

from ridelog.errors import InputRefused
from ridelog.ingest import ImportOptions, read_rides
from ridelog.ride import Ride

pytestmark = pytest.mark.open_data


def rides_of(open_data: Path, name: str) -> list[Ride]:
    rides = read_rides([open_data / name], ImportOptions())
    for ride in rides:
        check_ride(ride)
    return rides


@pytest.mark.parametrize(
    ("name", "rows", "duration_s", "km", "coolant", "ambient", "gaps"),
    [
        ("car_jam_hot", 46349, 3945.35, 54.33, (29, 94), (16, 23), []),
        ("car_cold_warmup", 37385, 3401.32, 55.96, (9, 95), (-14, -2), []),
        ("car_gap524s", 53843, 5138.71, 101.85, (8, 95), None, [524.1, 26.4]),
    ],
)
def test_car_logs(  # noqa: PLR0917
    open_data: Path,
    name: str,
    rows: int,
    duration_s: float,
    km: float,
    coolant: tuple[int, int],
    ambient: tuple[int, int] | None,
    gaps: list[float],
) -> None:
    (ride,) = rides_of(open_data, f"obd/{name}.csv")
    assert ride.samples.height == rows
    assert ride.duration_s == pytest.approx(duration_s, abs=0.01)
    assert ride.distance_m == pytest.approx(km * 1000, rel=0.005)
    assert (ride.samples["coolant_c"].min(), ride.samples["coolant_c"].max()) == coolant
    assert ride.peak_c == coolant[1]
    if ambient:
        assert (ride.samples["ambient_c"].min(), ride.samples["ambient_c"].max()) == ambient
    assert [round(gap.length_s, 1) for gap in ride.gaps] == gaps
    assert ride.start_utc is None
    assert left_out(ride.notes) == 0
    assert {"wheel_speed_mps", "engine_rpm", "throttle_pct", "intake_air_c"} <= set(ride.channels)
    assert "gps_speed_mps" not in ride.channels
    # One signal changes a row, so each sensor's own rate is a tenth of the rows'.
    for channel in ("coolant_c", "engine_rpm", "throttle_pct", "wheel_speed_mps"):
        info = ride.channels[channel]
        assert info.held
        assert info.rate_hz == pytest.approx(1.15, abs=0.1)
    assert ride.channels["coolant_c"].resolution == 1.0
    # Absolute throttle is the throttle; the pedals stay unnamed.
    assert ride.channels["throttle_pct"].source.endswith("Absolute Throttle Position")
    assert sum(channel.startswith("raw.Accelerator Pedal") for channel in ride.channels) == 2


@pytest.mark.parametrize("name", ["car_jam_hot", "car_cold_warmup", "car_gap524s"])
def test_car_logs_have_no_false_marks(open_data: Path, name: str) -> None:
    (ride,) = rides_of(open_data, f"obd/{name}.csv")
    # The intake air of these logs does jump, to 135 C at 20 C outside and back; nothing else does.
    assert {mark.channel for mark in ride.quality} <= {"intake_air_c"}


@pytest.mark.parametrize(
    ("name", "above_80", "above_90", "at_least_90"),
    [
        ("car_jam_hot", 3300.6, 1775.0, 3173.2),
        ("car_cold_warmup", 2535.7, 80.1, 390.6),
        ("car_gap524s", 3822.9, 600.6, 2391.7),
    ],
)
def test_car_logs_keep_their_seconds_above(
    open_data: Path, name: str, above_80: float, above_90: float, at_least_90: float
) -> None:
    (ride,) = rides_of(open_data, f"obd/{name}.csv")
    t_s, y = ride.samples["t_s"].to_numpy(), ride.samples["coolant_c"].to_numpy()
    steps = np.diff(t_s)
    steps[steps > 2.0] = 0.0
    assert steps[y[:-1] > 80].sum() == pytest.approx(above_80, abs=0.06)
    assert steps[y[:-1] > 90].sum() == pytest.approx(above_90, abs=0.06)
    assert steps[y[:-1] >= 90].sum() == pytest.approx(at_least_90, abs=0.06)


def test_track_with_untimed_points(open_data: Path) -> None:
    rides = rides_of(open_data, "gpx/hill_some_untimed.gpx")
    assert sum(ride.samples.height for ride in rides) == 513
    assert sum(ride.distance_m or 0.0 for ride in rides) == pytest.approx(
        6260, rel=0.003
    )  # the README counts on a sphere
    assert next(note.rows for note in rides[0].notes if note.kind == "left_out_untimed") == 358


def test_gpx_1_0_speed(open_data: Path) -> None:
    (ride,) = rides_of(open_data, "gpx/gpx10_speed.gpx")
    assert ride.samples.height == 3
    assert ride.duration_s == 13.0
    assert ride.samples["gps_speed_mps"].to_list() == [1.2, 2.2, 3.2]
    assert ride.channels["gps_speed_mps"].origin == "logged"


def test_offset_and_milliseconds(open_data: Path) -> None:
    (ride,) = rides_of(open_data, "gpx/offset_milliseconds.gpx")
    assert ride.samples["t_s"].to_list() == [0.0, 0.994]
    assert ride.start_utc is not None
    assert ride.start_utc.isoformat() == "2015-12-11T14:43:13+00:00"
    assert ride.timezone == "+01:00"


def test_tracks_out_of_order(open_data: Path) -> None:
    rides = rides_of(open_data, "gpx/three_tracks_out_of_order.gpx")
    assert len(rides) == 3
    assert len({ride.id for ride in rides}) == 3
    assert sum(ride.samples.height for ride in rides) == 1243
    assert sum(ride.distance_m or 0.0 for ride in rides) == pytest.approx(51_900, abs=50)
    assert all(ride.duration_s > 0 for ride in rides)
    starts = [ride.start_utc for ride in rides]
    assert starts == sorted(starts)  # type: ignore[type-var]


@pytest.mark.parametrize(
    ("name", "words"), [("undefined_coordinates", "usable coordinates"), ("waypoint_bom", "only way points")]
)
def test_tracks_that_are_refused(open_data: Path, name: str, words: str) -> None:
    with pytest.raises(InputRefused, match=words):
        read_rides([open_data / f"gpx/{name}.gpx"], ImportOptions())


def test_no_creator_name_or_description_is_kept(open_data: Path) -> None:
    for path in sorted((open_data / "gpx").glob("*.gpx")):
        text = path.read_text(encoding="utf-8-sig")
        secrets = [text.split('creator="')[1].split('"')[0]] if 'creator="' in text else []
        secrets += [part.split("<")[0] for part in text.split("<name>")[1:] if len(part.split("<")[0]) > 4]
        try:
            rides = read_rides([path], ImportOptions())
        except InputRefused as error:
            kept = error.one_line()
        else:
            kept = json.dumps([[str(r.notes), str(r.channels), str(r.quality), str(r.extra)] for r in rides])
        assert not [secret for secret in secrets if secret and secret in kept], path.name
