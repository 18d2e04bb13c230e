"""How channels go wrong: units, scales, sentinels, stuck and coarse sensors, positions, gears, maps, extra columns."""

# ruff: noqa: E501 - the tables have one case a line
from __future__ import annotations

import math
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

from corpus_files import (
    HEADER,
    TRUTH,
    kinds,
    lines,
    marks,
    note,
    read,
    refused,
    same_ride,
    text,
    with_cell,
    with_column,
)

from ridelog.bike import parse_bike
from ridelog.errors import AmbiguousColumn
from ridelog.ride import Ride

# -- units ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("unit", "of"), [("F", lambda c: c * 1.8 + 32), ("K", lambda c: c + 273.15)])
@pytest.mark.parametrize("head", ["Coolant temp [{}]", "Coolant temp", "Coolant temp [C]"])
def test_temperature_in_another_unit(unit: str, of: Callable[[float], float], head: str, tmp_path: Path) -> None:
    ride = read(tmp_path, with_cell(1, lambda _n, cell: f"{of(float(cell)):.2f}", head=head.format(unit)))
    same_ride(ride)
    if "{" not in head:
        said = note(ride, "unit_by_value" if head == "Coolant temp" else "unit_contradiction").text
        assert ("ATTENTION" in said) == (head != "Coolant temp")


@pytest.mark.parametrize("high", [122, 128, 133])
def test_temperature_on_the_border_asks(high: int, tmp_path: Path) -> None:
    content = with_cell(1, lambda n, _cell: f"{high - 60 + n / 10 if n < 600 else 0:.1f}", head="Coolant temp")
    assert isinstance(refused(tmp_path, content, "C or F"), AmbiguousColumn)


def track(
    speed: str,
    of: Callable[[float], str],
    place: Callable[[float, float], tuple[str, str]],
    names: tuple[str, str] = ("Latitude", "Longitude"),
) -> str:
    """The log with positions along a parallel. One degree of longitude at 45.5 north is 78,158 m (geodesic, WGS 84)."""
    names_ = [*HEADER[:4], speed, HEADER[5], *names]
    lon, rows = 7.5, [",".join(names_)]
    for row in TRUTH:
        mps = row[4] / 3.6
        rows.append(
            ",".join(
                (
                    f"{row[0]:.1f}",
                    f"{row[1]:.1f}",
                    f"{row[2]:.0f}",
                    f"{row[3]:.1f}",
                    of(mps),
                    f"{row[5]:.0f}",
                    *place(45.5, lon),
                )
            )
        )
        lon += mps * 0.5 / 78_158.06
    return text(rows)


def degrees(lat: float, lon: float) -> tuple[str, str]:
    return f"{lat:.7f}", f"{lon:.7f}"


SPEEDS = {"km/h": 3.6, "mph": 3600 / 1609.344, "kn": 3600 / 1852, "m/s": 1.0, "0.1 km/h": 36.0}


@pytest.mark.parametrize("unit", SPEEDS)
def test_a_speed_without_a_unit_beside_positions(unit: str, tmp_path: Path) -> None:
    ride = read(tmp_path, track("GPS speed", lambda v: f"{v * SPEEDS[unit]:.4f}", degrees))
    same_ride(ride)
    assert unit in note(ride, "unit_by_value").text


def test_a_speed_under_a_wrong_label_beside_positions(tmp_path: Path) -> None:
    content = track("GPS speed [mph]", lambda v: f"{v * 3.6:.4f}", degrees)
    ride = read(tmp_path, content)
    same_ride(ride)
    assert "ATTENTION" in note(ride, "unit_contradiction").text
    # The user's own word stands over the track.
    told = read(tmp_path, content, "log.csv", "GPS speed=gps_speed_mps:mph")
    assert told.samples["gps_speed_mps"][0] == pytest.approx(40.0 * 1609.344 / 3600)


def test_a_speed_without_a_unit_or_positions_asks(tmp_path: Path) -> None:
    error = refused(tmp_path, with_cell(4, lambda _n, cell: cell, head="GPS speed"), "without a unit")
    assert "GPS speed=gps_speed_mps:km/h" in error.options


def test_speeds_of_different_sources_stay_apart(tmp_path: Path) -> None:
    found = lines()
    ride = read(
        tmp_path,
        text(
            [
                found[0] + ",Wheel speed [km/h],Speed [km/h]",
                *(f"{row},{n % 50},{n % 40}" for n, row in enumerate(found[1:])),
            ]
        ),
    )
    same_ride(ride)
    assert ride.samples["wheel_speed_mps"][49] == pytest.approx(49 / 3.6)
    assert len([name for name in ride.samples.columns if "speed_mps" in name]) == 3
    assert len({ride.channels[name].source for name in ride.samples.columns if "speed_mps" in name}) == 3


def test_every_column_has_its_own_unit(tmp_path: Path) -> None:
    found = lines()
    ride = read(tmp_path, text([found[0] + ",Altitude [ft],Ambient [F]", *(f"{row},1000,68" for row in found[1:])]))
    same_ride(ride)
    assert set(ride.samples["elevation_m"]) == {304.8}
    assert ride.samples["ambient_c"][0] == pytest.approx(20.0)


@pytest.mark.parametrize(
    ("head", "of", "back"),
    [
        ("Throttle [V]", lambda p: f"{0.6 + p * 0.038:.4f}", None),
        ("Throttle", lambda p: f"{0.6 + p * 0.038:.4f}", "unit_by_value"),
        ("Throttle", lambda p: f"{p / 100:.4f}", "unit_by_value"),
        ("Throttle [%]", lambda p: f"{p / 100:.4f}", "unit_contradiction"),
        ("Throttle", lambda p: f"{p * 2.55:.0f}", "unit_by_value"),
    ],
)  # fmt: skip
def test_a_throttle_on_another_scale(head: str, of: Callable[[float], str], back: str | None, tmp_path: Path) -> None:
    ride = read(tmp_path, with_cell(3, lambda _n, cell: of(float(cell)), head=head))
    same_ride(ride, only=("coolant_c", "engine_rpm", "gps_speed_mps", "gear"))
    shown = ride.samples["throttle_pct"].to_numpy()
    true = np.array([row[3] for row in TRUTH])
    # Whatever the scale, the openings stand in their order and at their distance: the stops are learned later.
    assert float(np.corrcoef(shown, true)[0, 1]) > 0.9999
    if back:
        note(ride, back)


# -- sensors ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("value", ["-40", "-1", "0", "127", "140", "215", "255", "327.67", "999", "3276.7", "65535"])
def test_values_that_stand_for_none(value: str, tmp_path: Path) -> None:
    ride = read(tmp_path, with_cell(1, lambda n, cell: value if n % 50 in (20, 21, 22) else cell))
    assert marks(ride, "coolant_c") <= {"sentinel", "out_of_range"}
    times = [n / 2 for n in range(600) if n % 50 in (20, 21, 22)]
    excluded = [mark for mark in ride.quality if mark.channel == "coolant_c" and mark.action == "excluded"]
    assert all(any(mark.start_s <= t <= mark.end_s for mark in excluded) for t in times)
    assert ride.peak_c == pytest.approx(
        max(row[1] for n, row in enumerate(TRUTH) if n % 50 not in (20, 21, 22)), abs=0.11
    )


@pytest.mark.parametrize(
    ("column", "channel", "value"),
    [(2, "engine_rpm", "65535"), (4, "gps_speed_mps", "255"), (3, "throttle_pct", "127.5")],
)
def test_values_that_stand_for_none_in_other_channels(column: int, channel: str, value: str, tmp_path: Path) -> None:
    ride = read(tmp_path, with_cell(column, lambda n, cell: value if n % 50 in (20, 21, 22) else cell))
    assert marks(ride, channel) == {"sentinel"}


def test_nothing_and_freezing_point_are_told_apart(tmp_path: Path) -> None:
    winter = read(tmp_path, with_cell(1, lambda n, _cell: f"{max(0, n - 20) * 0.1:.1f}"))
    assert marks(winter, "coolant_c") == set()
    dropout = read(tmp_path, with_cell(1, lambda n, cell: "0" if n in (400, 401) else cell))
    assert marks(dropout, "coolant_c") == {"sentinel"}


def long_ride(coolant: Callable[[int], float]) -> str:
    """Forty minutes of work at 2 Hz with the coolant as given."""
    rows = ["Time [s],Coolant temp [C],Engine speed [rpm],Throttle [%],GPS speed [km/h]"]
    for n in range(4800):
        load = math.sin(n / 90) + math.sin(n / 37)
        rows.append(
            f"{n / 2:.1f},{coolant(n):.1f},{5500 + 1500 * load:.0f},{40 + 20 * load:.1f},{35 + 15 * math.sin(n / 50):.1f}"
        )
    return text(rows)


def test_a_value_that_stands_still_while_the_engine_works(tmp_path: Path) -> None:
    ride = read(
        tmp_path, long_ride(lambda n: 60 + 25 * (1 - math.exp(-n / 400)) + math.sin(n / 70) if n < 1500 else 85.0)
    )
    found = [mark for mark in ride.quality if mark.channel == "coolant_c"]
    assert {mark.kind for mark in found} == {"stuck"}
    assert found[0].start_s == pytest.approx(750.0, abs=10.0)
    assert found[-1].end_s == pytest.approx(ride.duration_s, abs=2.0)
    assert found[0].action == "excluded"


@pytest.mark.parametrize("step", [1, 2, 5])
def test_steps_of_whole_degrees(step: int, tmp_path: Path) -> None:
    ride = read(tmp_path, with_cell(1, lambda _n, cell: f"{float(cell) // step * step:.0f}"))
    same_ride(ride, within={"coolant_c": float(step)})
    assert ride.channels["coolant_c"].resolution == step


def test_bars_of_a_gauge_are_no_degrees(tmp_path: Path) -> None:
    bars = with_cell(1, lambda _n, cell: f"{float(cell) // 12:.0f}", head="Coolant")
    error = refused(tmp_path, bars, "bars of a gauge")
    assert error.options == ("Coolant=coolant_c:C", "Coolant=raw")
    ride = read(tmp_path, bars, "log.csv", "Coolant=raw")
    assert "coolant_c" not in ride.samples.columns
    ride = read(tmp_path, with_cell(1, lambda _n, cell: f"{float(cell) // 12:.0f}", head="Coolant bars"))
    assert "raw.Coolant bars" in ride.samples.columns


def test_a_sensor_that_speaks_every_ten_seconds(tmp_path: Path) -> None:
    found = lines()
    ride = read(tmp_path, with_cell(1, lambda n, _cell: found[1 + n // 20 * 20].split(",")[1]))
    info = ride.channels["coolant_c"]
    assert info.held
    assert info.rate_hz == pytest.approx(0.1, rel=0.05)
    assert ride.samples["coolant_c"].to_list() == [TRUTH[n // 20 * 20][1] for n in range(600)]


# -- positions --------------------------------------------------------------------------------------------------------


def minutes(lat: float, lon: float) -> tuple[str, str]:
    return f"{int(lat) * 100 + lat % 1 * 60:.6f}", f"{int(lon) * 100 + lon % 1 * 60:.6f}"


PLACES: dict[str, tuple[Callable[[float, float], tuple[str, str]], tuple[int, int], str]] = {
    "degrees": (degrees, (1, 1), ""),
    "degrees and minutes in one number": (minutes, (1, 1), "positions_in_minutes"),
    "the same, south and west": (lambda a, b: tuple("-" + one for one in minutes(a, b)), (-1, -1), "positions_in_minutes"),
    "the same, hemisphere behind": (lambda a, b: (minutes(a, b)[0] + "S", minutes(a, b)[1] + "W"), (-1, -1), "positions_in_degrees"),
    "hemisphere behind": (lambda a, b: (f"{a:.7f} N", f"{b:.7f} W"), (1, -1), "positions_in_degrees"),
    "degree signs": (lambda a, b: (f"{int(a)}° {a % 1 * 60:.6f}' S", f"E {int(b)}° {b % 1 * 60:.6f}'"), (-1, 1), "positions_in_degrees"),
    "minutes and seconds": (
        lambda a, b: (f"{int(a)}°{int(a % 1 * 60)}'{a * 60 % 1 * 60:.5f}''N", f"{int(b)}°{int(b % 1 * 60)}'{b * 60 % 1 * 60:.5f}''W"),
        (1, -1), "positions_in_degrees"),
}  # fmt: skip


@pytest.mark.parametrize("name", PLACES)
def test_positions_as_logs_write_them(name: str, tmp_path: Path) -> None:
    place, signs, kind = PLACES[name]
    ride = read(tmp_path, track("GPS speed [m/s]", lambda v: f"{v:.5f}", place))
    same_ride(ride)
    assert ride.samples["lat_deg"].to_list() == pytest.approx([45.5 * signs[0]] * 600, abs=2e-7)
    assert ride.samples["lon_deg"][0] == pytest.approx(7.5 * signs[1], abs=2e-7)
    assert float(np.abs(np.diff(ride.samples["lon_deg"])).max()) < 2e-4
    assert kinds(ride) == ({kind} if kind else set())
    # Where somebody lives may be the first position: no note shows one.
    assert not any("45" in one.sentence() for one in ride.notes)


def test_positions_with_decimal_commas(tmp_path: Path) -> None:
    content = track("GPS speed [m/s]", lambda v: f"{v:.5f}", degrees).replace(",", ";").replace(".", ",")
    assert read(tmp_path, content).samples["lat_deg"][0] == 45.5


def test_positions_the_wrong_way_round(tmp_path: Path) -> None:
    ride = read(tmp_path, track("GPS speed [m/s]", lambda v: f"{v:.5f}", lambda a, b: (f"{b + 100:.7f}", f"{a:.7f}")))
    same_ride(ride)
    assert ride.samples["lat_deg"][0] == 45.5
    assert ride.samples["lon_deg"][0] == 107.5
    assert "ATTENTION" in note(ride, "positions_swapped").text


def test_the_side_of_the_world_in_a_column_of_its_own(tmp_path: Path) -> None:
    content = track("GPS speed [m/s]", lambda v: f"{v:.5f}", minutes).split("\n")
    rows = [content[0] + ",N/S,E/W", *(row + ",S,W" for row in content[1:] if row)]
    ride = read(tmp_path, text(rows))
    assert ride.samples["lat_deg"][0] == pytest.approx(-45.5)
    assert ride.samples["lon_deg"][0] == pytest.approx(-7.5)


def test_positions_in_no_known_form_are_left_out(tmp_path: Path) -> None:
    ride = read(
        tmp_path, track("GPS speed [m/s]", lambda v: f"{v:.5f}", lambda a, b: (f"{a * 1e7:.0f}", f"{b * 1e7:.0f}"))
    )
    same_ride(ride)
    assert "lat_deg" not in ride.samples.columns
    note(ride, "unit_unknown")


def test_no_fix_is_no_place(tmp_path: Path) -> None:
    count = iter(range(600))

    def place(lat: float, lon: float) -> tuple[str, str]:
        return ("0.0", "0.0") if next(count) < 40 else degrees(lat, lon)

    ride = read(tmp_path, track("GPS speed [m/s]", lambda v: f"{v:.5f}", place))
    found = [mark for mark in ride.quality if mark.kind == "null_island"]
    assert {mark.channel for mark in found} >= {"lat_deg", "lon_deg"}
    assert all(mark.action == "excluded" and mark.end_s <= 20.0 for mark in found)


# -- gear and map -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("word", "value"), [("N", 0.0), ("0", 0.0), ("Neutral", 0.0), ("", None), ("-", None)])
def test_neutral(word: str, value: float | None, tmp_path: Path) -> None:
    ride = read(tmp_path, with_cell(5, lambda n, cell: word if n % 50 < 5 else cell))
    same_ride(ride, only=("coolant_c", "engine_rpm", "throttle_pct", "gps_speed_mps"))
    assert ride.samples["gear"].to_list() == [value if n % 50 < 5 else TRUTH[n][5] for n in range(600)]


def test_neutral_as_minus_one_is_no_gear(tmp_path: Path) -> None:
    ride = read(tmp_path, with_cell(5, lambda n, cell: "-1" if n % 50 < 5 else cell))
    assert marks(ride, "gear") & {"sentinel", "out_of_range"}


BIKE = parse_bike('schema = 1\nid = "b"\n[maps]\nconservative_slot = 2\nslot_values = { "0" = 1, "1" = 2 }\n', "b.toml")


def with_map(of: Callable[[int], str], tmp_path: Path, bike: bool = True) -> Ride:
    return read(tmp_path, with_column("Map switch", of), **({"bike": BIKE} if bike else {}))


def test_a_switch_that_floats_at_the_start_is_unknown_there(tmp_path: Path) -> None:
    ride = with_map(lambda n: "7" if n < 5 else str(n // 100 % 2), tmp_path)
    assert ride.samples["map_slot"].to_list() == [None] * 5 + [float(n // 100 % 2 + 1) for n in range(5, 600)]
    assert "'7'" in note(ride, "map_unread").sentence()


def test_slot_numbers_without_a_bike_file_are_said_to_be_unread(tmp_path: Path) -> None:
    note(with_map(lambda n: str(n // 100 % 2), tmp_path, bike=False), "map_slots")


def test_a_switch_logged_on_change_keeps_its_own_rows(tmp_path: Path) -> None:
    ride = with_map(lambda n: str(n // 100 % 2) if n % 100 == 50 else "", tmp_path)
    present = {n: value for n, value in enumerate(ride.samples["map_slot"].to_list()) if value is not None}
    assert present == {50: 1.0, 150: 2.0, 250: 1.0, 350: 2.0, 450: 1.0, 550: 2.0}


def test_no_switch_is_no_channel(tmp_path: Path) -> None:
    ride = read(tmp_path, text(lines()), bike=BIKE)
    assert "map_slot" not in ride.samples.columns


def test_columns_of_unknown_meaning_are_kept(tmp_path: Path) -> None:
    ride = read(tmp_path, with_column("Mystery [bar]", lambda n: f"{n / 10:.1f}"))
    same_ride(ride)
    assert ride.samples["raw.Mystery"].to_list() == [round(n / 10, 1) for n in range(600)]
    assert "Mystery" in note(ride, "not_understood").text


def test_an_engine_that_stands_still_is_in_the_log_all_the_same(tmp_path: Path) -> None:
    ride = read(tmp_path, with_cell(2, lambda n, cell: "0" if n >= 500 else cell))
    assert ride.samples.height == 600
    assert ride.samples["engine_rpm"].tail(100).to_list() == [0.0] * 100
    assert not [mark for mark in ride.quality if mark.channel == "engine_rpm" and mark.action == "excluded"]


def test_names_of_people_stay_in_the_file(tmp_path: Path) -> None:
    name = "Somebody Somewhere"
    ride = read(tmp_path, f"Rider: {name}\nHome,1 Some Street\n" + text(lines()))
    same_ride(ride)
    shown = [one.sentence() for one in ride.notes] + [str(info) for info in ride.channels.values()]
    assert not any(word in line for line in shown for word in ("Somebody", "Street"))
