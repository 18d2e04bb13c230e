"""What columns hold, in which unit, and the samples that come of it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ridelog.bike import Bike, parse_bike
from ridelog.errors import AmbiguousColumn, InputRefused
from ridelog.ingest import ImportOptions, parse_column_option, read_rides
from ridelog.normalize import distance, rates
from ridelog.normalize.by_value import coolant_unit, speed_unit
from ridelog.normalize.states import read_state
from ridelog.ride import Ride
from ridelog.units import Unit, parse_unit

N = 400
BIKE = parse_bike('schema = 1\nid = "b"\n[maps]\nconservative_slot = 2\nslot_values = { "A" = 1, "B" = 2 }\n', "b.toml")


def read(tmp_path: Path, bike: Bike | None = None, choices: tuple[str, ...] = (), **columns: object) -> Ride:
    """A ride of a log with the given columns (header -> values) beside a time column."""
    count = len(next(iter(columns.values())))  # type: ignore[arg-type]
    names = ["Time [s]", *(name.replace("__", " ") for name in columns)]
    lines = [",".join(names)]
    for row in range(count):
        cells = [values[row] for values in columns.values()]  # type: ignore[index]
        lines.append(",".join([f"{row / 10:.1f}", *("" if c is None else str(c) for c in cells)]))
    path = tmp_path / "log.csv"
    path.write_text("\n".join(lines) + "\n")
    options = ImportOptions(bike=bike, columns=tuple(parse_column_option(text) for text in choices))
    return read_rides([path], options)[0]


def kinds(ride: Ride) -> list[str]:
    return [note.kind for note in ride.notes]


WARM = [round(60 + 30 * n / N, 1) for n in range(N)]
KMH = [36.0] * N


# -- which channel ----------------------------------------------------------------------------------------------------


def test_the_absolute_throttle_comes_before_the_pedals(tmp_path: Path) -> None:
    ride = read(
        tmp_path,
        **{
            "Accelerator Pedal Position D [%]": [10] * N,
            "Throttle [%]": [20] * N,
            "Accelerator Pedal Position E [%]": [30] * N,
        },
    )
    assert set(ride.samples["throttle_pct"]) == {20.0}
    assert set(ride.samples["raw.Accelerator Pedal Position D"]) == {10.0}
    assert "stand_in" not in kinds(ride)


def test_a_pedal_stands_in_where_nothing_else_is_the_throttle(tmp_path: Path) -> None:
    ride = read(tmp_path, **{"Pedal [%]": [10] * N, "Grip [%]": [30] * N})
    assert set(ride.samples["throttle_pct"]) == {10.0}
    assert "raw.Grip" in ride.samples.columns
    assert "stand_in" in kinds(ride)


@pytest.mark.parametrize(
    ("others", "channel"),
    [
        ({"Latitude": [43.2] * N, "Longitude": [-31.6] * N}, "gps_speed_mps"),
        ({"HDOP": [1.0] * N}, "gps_speed_mps"),
        ({"GPS speed [km/h]": KMH}, "wheel_speed_mps"),
        ({"Wheel speed [km/h]": KMH}, "gps_speed_mps"),
    ],
)
def test_a_plain_speed_is_settled_by_its_company(others: dict[str, list[float]], channel: str, tmp_path: Path) -> None:
    ride = read(tmp_path, **{"Speed [km/h]": [18.0] * N, **others})
    assert set(ride.samples[channel]) == {5.0}


def test_a_plain_speed_alone_asks(tmp_path: Path) -> None:
    with pytest.raises(AmbiguousColumn, match="--column"):
        read(tmp_path, **{"Speed [km/h]": KMH})
    ride = read(tmp_path, choices=("Speed=wheel_speed_mps:km/h",), **{"Speed [km/h]": KMH})
    assert set(ride.samples["wheel_speed_mps"]) == {10.0}


def test_the_values_settle_a_plain_temp(tmp_path: Path) -> None:
    assert "coolant_c" in read(tmp_path, **{"Temp [C]": WARM}).samples.columns
    with pytest.raises(AmbiguousColumn):
        read(tmp_path, **{"Temp [C]": [20.0] * N})


def test_intake_air_is_not_ambient(tmp_path: Path) -> None:
    ride = read(tmp_path, **{"IAT [C]": [30] * N, "Ambient [C]": [20] * N})
    assert set(ride.samples["intake_air_c"]) == {30.0}
    assert set(ride.samples["ambient_c"]) == {20.0}


def test_unknown_columns_are_kept_as_they_came(tmp_path: Path) -> None:
    ride = read(tmp_path, **{"Coolant [C]": WARM, "Oddity [xyz]": ["a", "b"] * (N // 2), "Flow [g/s]": [1.5] * N})
    assert ride.samples["raw.Oddity"].to_list()[:2] == ["a", "b"]
    assert set(ride.samples["raw.Flow"]) == {1.5}
    assert ride.channels["raw.Flow"].unit == ""


def test_a_channel_that_holds_words_is_kept_as_words(tmp_path: Path) -> None:
    ride = read(tmp_path, **{"Coolant [C]": ["hot", "cold"] * (N // 2), "RPM": [5000] * N})
    assert "coolant_c" not in ride.samples.columns
    assert "not_numbers" in kinds(ride)


def test_columns_in_order_and_empty_ones_left_out(tmp_path: Path) -> None:
    ride = read(
        tmp_path, **{"Gear": [1] * N, "Nothing": [None] * N, "RPM": [5000] * N, "Other": [1] * N, "Coolant [C]": WARM}
    )
    assert ride.samples.columns == ["t_s", "coolant_c", "engine_rpm", "gear", "raw.Other"]
    assert "empty_columns" in kinds(ride)


def test_what_the_user_says_stands(tmp_path: Path) -> None:
    ride = read(
        tmp_path, choices=("Coolant=ambient_c:F", "Mystery=coolant_c:C"), **{"Coolant [C]": [68] * N, "Mystery": WARM}
    )
    assert set(ride.samples["ambient_c"].round(9)) == {20.0}
    assert ride.samples["coolant_c"].to_list() == WARM
    unused = read(tmp_path, choices=("Cooolant=coolant_c:C",), **{"Coolant [C]": WARM})
    assert "column_choice" in kinds(unused)


# -- units ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("header", "channel", "written", "canonical"),
    [
        ("GPS speed [mph]", "gps_speed_mps", 10.0, 4.4704),
        ("GPS speed [kn]", "gps_speed_mps", 10.0, 10 * 1852 / 3600),
        ("Altitude [ft]", "elevation_m", 1000.0, 304.8),
        ("Ambient [F]", "ambient_c", 50.0, 10.0),
        ("Battery [mV]", "battery_v", 13_800.0, 13.8),
        ("Fuel pressure [bar]", "fuel_kpa", 3.5, 350.0),
        ("Fuel pressure [psi]", "fuel_kpa", 50.0, 50 * 6.894757293168361),
        ("Injector time [us]", "injector_ms", 3500.0, 3.5),
        ("Throttle [V]", "throttle_pct", 2.5, 50.0),
        ("Baro [hPa]", "baro_kpa", 950.0, 95.0),
        ("Baro", "baro_kpa", 950.0, 95.0),
        ("RPM [krpm]", "engine_rpm", 5.5, 5500.0),
    ],
)
def test_a_unit_by_its_text(header: str, channel: str, written: float, canonical: float, tmp_path: Path) -> None:
    # Exact by definition: SI Brochure (9th edition), yard and pound agreement of 1959, nautical mile of 1929.
    ride = read(tmp_path, **{header: [written] * N})
    assert ride.samples[channel][0] == pytest.approx(canonical, rel=1e-12)


def test_other_temperatures_follow_the_coolant(tmp_path: Path) -> None:
    ride = read(
        tmp_path, **{"Coolant [F]": [round(v * 1.8 + 32, 1) for v in WARM], "Ambient": [68] * N, "EGT": [1112] * N}
    )
    assert ride.samples["ambient_c"][0] == pytest.approx(20.0)
    assert ride.samples["exhaust_gas_c"][0] == pytest.approx(600.0)
    assert kinds(ride).count("unit_assumed") == 2


def test_units_that_are_not_known_keep_the_column_unnamed(tmp_path: Path) -> None:
    ride = read(tmp_path, **{"Gear": [1] * N, "Lambda [AFR]": [13.0] * N, "Battery [xyz]": [13.0] * N})
    assert {"raw.Lambda", "raw.Battery"} <= set(ride.samples.columns)
    assert kinds(ride).count("unit_unknown") == 2


@pytest.mark.parametrize(
    ("values", "factor", "kind"),
    [
        ([n % 101 for n in range(N)], 1.0, None),
        ([n % 101 / 100 for n in range(N)], 100.0, "unit_by_value"),
        ([0.6 + n % 100 * 0.038 for n in range(N)], 20.0, "unit_by_value"),
        ([n % 256 for n in range(N)], 100 / 255, "unit_by_value"),
        ([12 + n % 76 for n in range(N)], 1.0, None),
        ([0.8 + n % 3 / 10 for n in range(N)], 1.0, None),
    ],
)
def test_a_throttle_without_a_unit(values: list[float], factor: float, kind: str | None, tmp_path: Path) -> None:
    ride = read(tmp_path, Throttle=values)
    np.testing.assert_allclose(ride.samples["throttle_pct"], np.array(values) * factor)
    assert (kind in kinds(ride)) == (kind is not None)


def test_raw_counts_stay_raw(tmp_path: Path) -> None:
    ride = read(tmp_path, Throttle=[n * 2 for n in range(N)])
    assert "throttle_pct" not in ride.samples.columns
    assert "raw_counts" in kinds(ride)


@pytest.mark.parametrize(
    ("high", "low", "unit"),
    [(95.0, 20.0, "C"), (45.0, 10.0, "C"), (203.0, 60.0, "F"), (250.0, 150.0, "F"), (368.0, 290.0, "K")],
)
def test_a_coolant_without_a_unit(high: float, low: float, unit: str) -> None:
    values = np.concatenate((np.linspace(low, high, 200), np.full(300, high)))
    assert coolant_unit(values, None, "Coolant", "coolant_c", "x").unit == parse_unit(unit)


@pytest.mark.parametrize("high", [121.0, 128.0, 134.0])
def test_a_coolant_on_the_border_asks(high: float) -> None:
    with pytest.raises(AmbiguousColumn, match="C or F"):
        coolant_unit(np.full(100, high), None, "Coolant", "coolant_c", "x")


def test_a_label_the_values_contradict() -> None:
    hot = np.concatenate((np.linspace(70, 200, 100), np.full(300, 205.0)))
    found = coolant_unit(hot, "C", "Coolant", "coolant_c", "x")
    assert found.unit == parse_unit("F")
    assert found.note is not None
    assert "ATTENTION" in found.note.text
    # An engine that really boils stays in C: half a ride above 135 C is not possible, a peak is.
    peak = np.concatenate((np.full(300, 95.0), np.linspace(95, 150, 30)))
    assert coolant_unit(peak, "C", "Coolant", "coolant_c", "x").unit == parse_unit("C")
    cool = coolant_unit(np.full(300, 90.0), "F", "Coolant", "coolant_c", "x")
    assert cool.unit == parse_unit("F")
    assert cool.note is not None


@pytest.mark.parametrize(("text", "factor"), [("km/h", 3.6), ("mph", 1 / 0.44704), ("m/s", 1.0), ("kn", 3600 / 1852)])
def test_a_speed_without_a_unit_beside_positions(text: str, factor: float, tmp_path: Path) -> None:
    # 1e-4 degrees of latitude are 11.11 m at 45.5 degrees north .
    lat = [f"{45.5 + n * 1e-5:.6f}" for n in range(N)]
    ride = read(tmp_path, **{"Latitude": lat, "Longitude": [7.5] * N, "GPS speed": [round(11.114 * factor, 3)] * N})
    assert ride.samples["gps_speed_mps"][0] == pytest.approx(11.114, rel=1e-3)
    assert speed_unit(factor, None, "v", "gps_speed_mps", "x", np.zeros(0)).unit == parse_unit(text)


def test_a_speed_without_a_unit_or_positions_asks(tmp_path: Path) -> None:
    with pytest.raises(AmbiguousColumn, match="without a unit"):
        read(tmp_path, **{"GPS speed": KMH})


# -- states -----------------------------------------------------------------------------------------------------------


def test_the_map_goes_through_the_bike_file(tmp_path: Path) -> None:
    ride = read(tmp_path, bike=BIKE, Map=["A", "b"] * (N // 2), RPM=[5000] * N)
    assert ride.samples["map_slot"].to_list()[:2] == [1.0, 2.0]


def test_a_map_value_the_bike_file_does_not_list_is_unknown(tmp_path: Path) -> None:
    ride = read(tmp_path, bike=BIKE, Map=["A", "C", "B", "C"] * (N // 4), RPM=[5000] * N)
    assert ride.samples["map_slot"].to_list()[:4] == [1.0, None, 2.0, None]
    note = next(note for note in ride.notes if note.kind == "map_unread")
    assert "state_unknown" not in kinds(ride)
    assert note.rows == N // 2
    assert "'c'" in str(note.example)


def test_a_map_without_a_bike_file(tmp_path: Path) -> None:
    numbers = read(tmp_path, Map=[0, 1] * (N // 2), RPM=[5000] * N)
    assert numbers.samples["map_slot"].to_list()[:2] == [0.0, 1.0]
    assert "map_slots" in kinds(numbers)
    words = read(tmp_path, Map=["A", "B"] * (N // 2), RPM=[5000] * N)
    assert "map_slot" not in words.samples.columns
    assert words.samples["raw.Map"].to_list()[:2] == ["A", "B"]
    assert "map_unread" in kinds(words)


@pytest.mark.parametrize(
    "pair", [("off", "on"), ("FALSE", "TRUE"), ("aus", "ein"), ("0", "1"), ("no", "yes"), ("nein", "ja")]
)
def test_fan_words(pair: tuple[str, str], tmp_path: Path) -> None:
    ride = read(tmp_path, Fan=list(pair) * (N // 2), RPM=[5000] * N)
    assert ride.samples["fan_on"].to_list()[:2] == [0.0, 1.0]


def test_gear_words() -> None:
    values = pl.Series(["N", "1", "2nd", "3.", "neutral", "R", None])
    state = read_state("gear", values, "Gear", None)
    assert state.values is not None
    assert state.values.to_list() == [0.0, 1.0, 2.0, 3.0, 0.0, None, None]
    assert state.notes[0].rows == 1


# -- rates and resolution ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("hold", [1, 2, 4, 5, 10, 20, 100])
def test_held_values_show_the_sensors_own_rate(hold: int) -> None:
    draw = np.random.default_rng(hold)
    y = np.repeat(np.round(60 + np.cumsum(draw.normal(0, 0.7, 400)), 1), hold)
    found = rates.rhythm(np.arange(y.size) * 0.05, y)
    assert found.rate_hz == pytest.approx(20.0 / hold, rel=1e-6)
    assert found.held == (hold > 1)
    assert found.resolution == pytest.approx(0.1)


@pytest.mark.parametrize("hold", [10, 20])
def test_a_slow_whole_degree_sensor(hold: int) -> None:
    draw = np.random.default_rng(9)
    slow = 60 + 20 * np.sin(np.arange(1500) / 90) + draw.normal(0, 0.2, 1500)
    y = np.repeat(np.round(slow), hold)
    found = rates.rhythm(np.arange(y.size) * 0.05, y)
    assert found.held
    assert found.rate_hz == pytest.approx(20.0 / hold)
    assert found.resolution == 1.0


def test_a_channel_that_does_not_change_says_nothing() -> None:
    found = rates.rhythm(np.arange(1000) * 0.1, np.full(1000, 90.0))
    assert (found.rate_hz, found.held, found.resolution) == (None, False, None)


def test_a_slow_trace_that_is_not_held_is_not_called_held() -> None:
    draw = np.random.default_rng(2)
    y = np.round(np.linspace(20, 95, 20_000) + draw.normal(0, 0.4, 20_000))
    assert not rates.rhythm(np.arange(20_000) * 0.05, y).held


def test_a_few_odd_steps_do_not_change_the_resolution() -> None:
    y = np.round(60 + 20 * np.sin(np.arange(5000) / 30))
    y[2500] += 0.01
    assert rates.rhythm(np.arange(5000) * 0.1, y).resolution == 1.0


@pytest.mark.parametrize("tiny", [5e-324, 1e-310, 1e-250, 1e308])
def test_rubbish_of_a_damaged_file_has_no_resolution(tiny: float) -> None:
    # Found by fuzzing: steps outside the range of the arithmetic.
    y = np.where(np.arange(200) % 2 == 0, tiny, -tiny)
    found = rates.rhythm(np.arange(200) * 0.1, y)
    assert found.resolution is None
    assert found.rate_hz == pytest.approx(10.0)


# -- distance and derived speed ---------------------------------------------------------------------------------------


# Karney's geodesic lengths, computed with geographiclib 2.1.
@pytest.mark.parametrize(
    ("lat0", "lon0", "lat1", "lon1", "metres"),
    [
        (0, 0, 0, 1, 111319.4908),
        (0, 0, 1, 0, 110574.3886),
        (45, 0, 45, 1, 78846.3347),
        (45.5, 7.5, 45.501, 7.5, 111.1416),
        (45.5, 7.5, 45.501, 7.501, 135.8713),
        (60, 10, 60, 10.001, 55.8000),
        (0, 179.999, 0, -179.999, 222.6390),
        (40.6, -73.8, 51.6, -0.5, 5551759.4003),
    ],
)
def test_lengths_on_the_ellipsoid(lat0: float, lon0: float, lat1: float, lon1: float, metres: float) -> None:
    assert distance.steps_m(np.array([lat0, lat1]), np.array([lon0, lon1]))[0] == pytest.approx(metres, abs=1e-3)


def test_speed_from_positions_at_a_steady_pace() -> None:
    t_s = np.arange(100) * 1.0
    speed = distance.speed_from_positions(t_s, 45.5 + t_s * 1e-4, np.full(100, 7.5), [])
    np.testing.assert_allclose(speed, 11.114, rtol=1e-3)


def test_standing_still_with_a_wandering_fix_is_no_movement() -> None:
    draw = np.random.default_rng(1)
    t_s = np.arange(600) * 1.0
    lat = 45.5 + draw.normal(0, 0.5, 600) / 111_141.55
    lon = 7.5 + draw.normal(0, 0.5, 600) / 78_158.06
    assert float(np.median(distance.speed_from_positions(t_s, lat, lon, []))) < 0.8


def test_distance_prefers_the_satellites_and_leaves_gaps_out(tmp_path: Path) -> None:
    ride = read(tmp_path, **{"GPS speed [m/s]": [10.0] * N, "Wheel speed [m/s]": [12.0] * N})
    assert ride.distance_m == pytest.approx(10.0 * (N - 1) / 10)
    late = [None] * 300 + [10.0] * 100
    ride = read(tmp_path, **{"GPS speed [m/s]": late, "Wheel speed [m/s]": [12.0] * N})
    assert ride.distance_m == pytest.approx(12.0 * (N - 1) / 10)


def test_marked_values_count_neither_for_peak_nor_distance(tmp_path: Path) -> None:
    coolant, speed = list(WARM), [10.0] * N
    coolant[100] = 140.0
    speed[200] = 90.0
    ride = read(tmp_path, **{"Coolant [C]": coolant, "GPS speed [m/s]": speed})
    assert ride.peak_c == max(WARM)
    assert ride.distance_m == pytest.approx(10.0 * (N - 1) / 10, rel=2e-3)
    assert ride.samples["coolant_c"][100] == 140.0


def test_rows_of_one_time_complete_each_other(tmp_path: Path) -> None:
    text = "Time [s],Coolant [C],RPM\n"
    for n in range(50):
        text += f"{n / 2},{60 + n},\n"
        if n % 5 == 0:
            text += f"{n / 2},,{5000 + n}\n"
    (tmp_path / "log.csv").write_text(text)
    ride = read_rides([tmp_path / "log.csv"], ImportOptions())[0]
    assert ride.samples.height == 50
    assert ride.samples["coolant_c"].null_count() == 0
    assert ride.samples["engine_rpm"].drop_nulls().to_list() == [5000.0 + n for n in range(0, 50, 5)]
    assert next(note.rows for note in ride.notes if note.kind == "left_out_same_time") == 10


def test_columns_of_one_name_that_differ_are_refused(tmp_path: Path) -> None:
    (tmp_path / "log.csv").write_text("Time [s],RPM,RPM\n" + "".join(f"{n},{n},{n + 1}\n" for n in range(20)))
    with pytest.raises(InputRefused, match="differ"):
        read_rides([tmp_path / "log.csv"], ImportOptions())


@settings(deadline=None, max_examples=40)
@given(st.floats(-50, 400), st.sampled_from(["C", "F", "K"]))
def test_temperature_units_go_there_and_back(value: float, text: str) -> None:
    unit = parse_unit(text)
    assert isinstance(unit, Unit)
    assert (unit.convert(value) - unit.offset) / unit.factor == pytest.approx(value, abs=1e-9)
