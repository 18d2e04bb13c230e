"""Units, scales, signs and names that a log leaves open: read so only with a note, or asked for."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ridelog.bike import parse_bike
from ridelog.errors import AmbiguousColumn, InputRefused
from ridelog.ingest import ImportOptions, parse_column_option, read_rides
from ridelog.normalize.by_value import coolant_unit, throttle
from ridelog.ride import Ride
from ridelog.units import parse_unit

N = 400
BIKE = parse_bike(
    'schema = 1\nid = "b7"\n[maps]\nconservative_slot = 2\nslot_values = { "a" = 1, "b" = 2 }\n', "b.toml"
)
RIDDEN = [3000 + n % 100 * 40 for n in range(N)]
"""Engine speeds as on a ride."""


def read(tmp_path: Path, columns: dict[str, list[object]], *choices: str, mapped: bool = False) -> Ride:
    lines = [",".join(["Time [s]", *columns])]
    lines += [",".join([str(n), *(str(values[n]) for values in columns.values())]) for n in range(N)]
    (tmp_path / "log.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    told = tuple(parse_column_option(text) for text in choices)
    return read_rides([tmp_path / "log.csv"], ImportOptions(bike=BIKE if mapped else None, columns=told))[0]


def note(ride: Ride, kind: str) -> str:
    return next(one.text for one in ride.notes if one.kind == kind)


def kinds(ride: Ride) -> set[str]:
    return {one.kind for one in ride.notes}


# -- hemispheres ------------------------------------------------------------------------------------------------------

LAT = [f"47.5{n:04d}" for n in range(N)]
LON = [f"11.2{n:04d}" for n in range(N)]


@pytest.mark.parametrize("names", [("N/S", "E/W"), ("Lat hemisphere", "Lon hemisphere"), ("Lat (N/S)", "Lon (E/W)"),
                                   ("Side", "Other side")])  # fmt: skip
@pytest.mark.parametrize(
    ("north", "east", "signs"),
    [
        ("N", "E", (1, 1)), ("N", "W", (1, -1)), ("S", "E", (-1, 1)), ("s", "w", (-1, -1)), ("South", "West", (-1, -1)),
        ("Nord", "Ost", (1, 1)), ("Süd", "Ost", (-1, 1)), ("Sud", "Ouest", (-1, -1)), ("Sur", "Oeste", (-1, -1)),
        ("Sul", "Leste", (-1, 1)), ("Sud", "Ovest", (-1, -1)), ("Zuid", "Oost", (-1, 1)), ("Söder", "Väst", (-1, -1)),
    ],
)  # fmt: skip
def test_positions_take_the_sign_of_their_hemisphere(
    names: tuple[str, str], north: str, east: str, signs: tuple[int, int], tmp_path: Path
) -> None:
    ride = read(tmp_path, {"Latitude": LAT, names[0]: [north] * N, "Longitude": LON, names[1]: [east] * N})
    assert ride.samples["lat_deg"].to_list() == [signs[0] * float(value) for value in LAT]
    assert ride.samples["lon_deg"].to_list() == [signs[1] * float(value) for value in LON]
    assert "hemisphere" in kinds(ride)


def test_a_sign_that_is_there_already_is_not_turned_round(tmp_path: Path) -> None:
    west = [f"-{value}" for value in LON]
    ride = read(tmp_path, {"Latitude": LAT, "N/S": ["N"] * N, "Longitude": west, "E/W": ["W"] * N})
    assert ride.samples["lon_deg"].to_list() == [float(value) for value in west]


@pytest.mark.parametrize("odd", ["Q", "north-ish", 7, 0.5])
@pytest.mark.parametrize("column", ["N/S", "E/W"])
def test_a_hemisphere_that_can_not_be_read_leaves_no_positions(column: str, odd: object, tmp_path: Path) -> None:
    table: dict[str, list[object]] = {"Latitude": LAT, "N/S": ["N"] * N, "Longitude": LON, "E/W": ["W"] * N}
    table[column] = [odd] * N
    ride = read(tmp_path, {**table, "RPM": RIDDEN})
    assert not {"lat_deg", "lon_deg", "gps_speed_mps"} & set(ride.samples.columns)
    assert "ATTENTION" in note(ride, "hemisphere_unread")


def test_a_hemisphere_against_the_sign_leaves_no_positions(tmp_path: Path) -> None:
    ride = read(tmp_path, {"Latitude": LAT, "Longitude": [f"-{v}" for v in LON], "E/W": ["E"] * N, "RPM": RIDDEN})
    assert not {"lat_deg", "lon_deg"} & set(ride.samples.columns)
    assert "hemisphere_contradiction" in kinds(ride)


def test_rows_without_a_hemisphere_have_no_position(tmp_path: Path) -> None:
    ride = read(tmp_path, {"Latitude": LAT, "N/S": ["", "N"] * (N // 2), "Longitude": LON, "E/W": ["W"] * N})
    assert ride.samples["lat_deg"].null_count() == N // 2
    assert ride.samples["lon_deg"].max() < 0  # type: ignore[operator]


def test_o_is_east_or_west_by_the_language(tmp_path: Path) -> None:
    east = {"Zeit": range(N), "Breite": LAT, "N/S": ["N"] * N, "Länge": LON, "O/W": ["O"] * N}
    assert read(tmp_path, east).samples["lon_deg"][0] > 0  # type: ignore[arg-type]
    west = {"Latitude": LAT, "N/S": ["N"] * N, "Longitude": LON, "E/O": ["O"] * N}
    assert read(tmp_path, west).samples["lon_deg"][0] < 0
    unsure = {"Latitude": LAT, "N/S": ["N"] * N, "Longitude": LON, "Lon hemisphere": ["O"] * N, "RPM": RIDDEN}
    assert "lon_deg" not in read(tmp_path, unsure).samples.columns


# -- throttle ---------------------------------------------------------------------------------------------------------


def swing(low: float, high: float) -> list[float]:
    return [round(low + (high - low) * (0.5 + 0.5 * np.sin(n)), 3) for n in range(N)]


@pytest.mark.parametrize("header", ["TPS [%]", "TPS"])
@pytest.mark.parametrize(
    ("low", "high", "factor"),
    [(0, 1, 100), (0.02, 0.98, 100), (0, 0.55, 100), (0.6, 2.6, 20), (0, 4.9, 20), (0.5, 4.5, 20), (0.4, 1.9, 20)],
)
def test_a_throttle_that_can_not_be_percent(
    header: str, low: float, high: float, factor: float, tmp_path: Path
) -> None:
    values = swing(low, high)
    ride = read(tmp_path, {"RPM": RIDDEN, header: values})
    np.testing.assert_allclose(ride.samples["throttle_pct"], np.array(values) * factor)
    assert any("ATTENTION" in one.text and "TPS" in one.text for one in ride.notes)


@pytest.mark.parametrize("header", ["TPS [%]", "TPS"])
@pytest.mark.parametrize(
    "values", [swing(0.5, 0.95), swing(0, 5.8), swing(0.9, 1.2), [n % 6 for n in range(N)], [0] * N]
)
def test_a_throttle_of_no_clear_scale_is_kept_as_it_is(header: str, values: list[float], tmp_path: Path) -> None:
    ride = read(tmp_path, {"RPM": RIDDEN, header: values})
    assert "throttle_pct" not in ride.samples.columns
    assert "raw.TPS" in ride.samples.columns
    assert any("ATTENTION" in one.text and "kept as it is" in one.text for one in ride.notes)
    ride = read(tmp_path, {"RPM": RIDDEN, header: values}, "TPS=throttle_pct:%")
    assert ride.samples["throttle_pct"].to_list() == values


@settings(deadline=None)
@given(st.floats(0, 100), st.floats(0, 100), st.booleans())
def test_percent_is_left_alone_where_it_can_be_percent(one: float, other: float, ridden: bool) -> None:
    values = np.linspace(min(one, other), max(one, other), 50)
    found = throttle(values, "TPS", stated=True, ridden=ridden)
    assert (found.unit is None and not found.keep_raw) == (values.max() >= 6.0 or not ridden)


@pytest.mark.parametrize("rpm", [[1500 + n % 90 for n in range(N)], [2000 - 3 * n for n in range(N)]])
@pytest.mark.parametrize("values", [swing(0.4, 0.9), swing(3, 5)])
def test_an_engine_that_idles_or_warms_up_says_nothing_of_the_scale(
    rpm: list[float], values: list[float], tmp_path: Path
) -> None:
    ride = read(tmp_path, {"RPM": rpm, "Speed [km/h]": [0] * N, "HDOP": [1] * N, "TPS [%]": values})
    assert ride.samples["throttle_pct"].to_list() == values


# -- temperatures -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("low", "high"), [(20.0, 95.0), (60.0, 90.0), (20.0, 115.0), (106.0, 118.0), (5.0, 30.0)])
def test_celsius_is_assumed_not_proved(low: float, high: float) -> None:
    found = coolant_unit(np.linspace(low, high, N), None, "Coolant", "coolant_c", "x")
    assert found.unit == parse_unit("C")
    assert found.note is not None
    assert "taken as C" in found.note.text
    assert "alone" not in found.note.text
    # What else it could be is said where an engine could have run so in F.
    assert ("as F they would be" in found.note.text) == (high > 85.0)


@pytest.mark.parametrize("start", [50.0, 60.0, 70.0, 80.0])
def test_a_cold_start_in_fahrenheit_or_a_hot_end_in_celsius_is_asked_for(start: float) -> None:
    with pytest.raises(AmbiguousColumn, match=r"C or F") as asked:
        coolant_unit(np.linspace(start, 115.0, N), None, "Coolant", "coolant_c", "x")
    assert asked.value.options == ("Coolant=coolant_c:C", "Coolant=coolant_c:F")


@pytest.mark.parametrize("high", [276.0, 500.0, 900.0, 93_125.0])
@pytest.mark.parametrize("label", ["C", "F", "K"])
def test_a_label_on_values_of_no_temperature_is_not_believed(label: str, high: float) -> None:
    values = np.full(N, high * (2.0 if label != "C" and high < 500 else 1.0))
    found = coolant_unit(values, label, "Coolant", "coolant_c", "x")
    if found.keep_raw:
        assert found.note is not None
        assert "ATTENTION" in found.note.text
    else:
        assert found.unit is not None
        assert 0.0 < found.unit.convert(values[0]) < 160.0


def test_kelvin_has_an_upper_end() -> None:
    assert coolant_unit(np.full(N, 365.0), "C", "Coolant", "coolant_c", "x").unit == parse_unit("K")
    for values in (np.full(N, 500.0), np.linspace(200, 600, N)):
        with pytest.raises(AmbiguousColumn, match="neither"):
            coolant_unit(values, None, "Coolant", "coolant_c", "x")


def test_an_unknown_unit_is_told(tmp_path: Path) -> None:
    ride = read(tmp_path, {"Coolant [Q]": [60 + n % 30 for n in range(N)], "RPM": RIDDEN})
    assert "'Q' is not known" in note(ride, "unit_by_value")
    assert "taken as C" in note(ride, "unit_by_value")
    with pytest.raises(AmbiguousColumn, match="'Q'"):
        read(tmp_path, {"Coolant [Q]": [600] * N, "RPM": RIDDEN})


@pytest.mark.parametrize(("header", "name"), [("GPS speed [Q]", "GPS speed"), ("RPM [Q]", "RPM"), ("TPS [Q]", "TPS"),
                                              ("Altitude [Q]", "Altitude"), ("Lambda [Q]", "Lambda")])  # fmt: skip
def test_no_other_channel_passes_with_an_unknown_unit(header: str, name: str, tmp_path: Path) -> None:
    ride = read(tmp_path, {"Coolant [C]": [80 + n % 9 for n in range(N)], header: [1] * N})
    assert f"raw.{name}" in ride.samples.columns
    assert "'Q'" in note(ride, "unit_unknown")


# -- the same twice ---------------------------------------------------------------------------------------------------


def test_one_quantity_in_two_units_is_kept_once(tmp_path: Path) -> None:
    kmh = [n % 80 for n in range(N)]
    coolant = [80 + n % 9 for n in range(N)]
    ride = read(
        tmp_path,
        {
            "GPS Speed km/h": kmh, "GPS Speed mph": [round(v / 1.609344, 1) for v in kmh],
            "Coolant [C]": coolant, "Coolant [F]": [round(v * 1.8 + 32) for v in coolant],
        },
    )  # fmt: skip
    np.testing.assert_allclose(ride.samples["gps_speed_mps"], np.array(kmh) / 3.6)
    assert ride.samples["coolant_c"].to_list() == coolant
    assert [one.kind for one in ride.notes].count("same_column") == 2
    assert not any(name.endswith(".2") for name in ride.samples.columns)


def test_two_sensors_in_two_units_are_two(tmp_path: Path) -> None:
    ride = read(
        tmp_path, {"Coolant [C]": [80 + n % 9 for n in range(N)], "Coolant [F]": [150 + n % 9 for n in range(N)]}
    )
    assert ride.samples["coolant_c.2"][0] == pytest.approx((150 - 32) / 1.8)
    assert "second_sensor" in kinds(ride)
    with pytest.raises(InputRefused, match="differ"):
        read(tmp_path, {"Coolant [C]": [80 + n % 9 for n in range(N)], "Coolant [ C ]": [70] * N})


# -- names ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("top", "units"), [(20, {"km/h", "m/s", "mph"}), (79, {"km/h", "mph"}), (150, {"km/h"}), (95, {"km/h", "mph"})]
)
def test_a_plain_speed_offers_every_unit_that_fits(top: int, units: set[str], tmp_path: Path) -> None:
    with pytest.raises(AmbiguousColumn, match="unit is unknown") as asked:
        read(tmp_path, {"speed": [n % (top + 1) for n in range(N)], "RPM": RIDDEN})
    options = asked.value.options
    assert options[0] == "speed=gps_speed_mps:km/h"
    assert set(options) == {f"speed={ch}:{u}" for ch in ("gps_speed_mps", "wheel_speed_mps") for u in units}
    assert all(option in asked.value.to_do for option in options)
    for option in options:
        assert parse_column_option(option).unit in units


def test_a_known_speed_without_a_unit_offers_what_fits(tmp_path: Path) -> None:
    with pytest.raises(AmbiguousColumn) as asked:
        read(tmp_path, {"Wheel speed": [n % 80 for n in range(N)], "RPM": RIDDEN})
    assert asked.value.options == ("Wheel speed=wheel_speed_mps:km/h", "Wheel speed=wheel_speed_mps:mph")


@pytest.mark.parametrize("name", ["Vitesse", "Speed", "Geschwindigkeit"])
def test_a_speed_beside_positions_is_the_receivers_whatever_else_its_name_can_mean(name: str, tmp_path: Path) -> None:
    lat = [f"{45.5 + n * 1e-4:.6f}" for n in range(N)]
    ride = read(tmp_path, {name: [40.0 + n % 2 / 10 for n in range(N)], "Latitude": lat, "Longitude": [7.5] * N})
    assert ride.samples["gps_speed_mps"][0] == pytest.approx(40 / 3.6)
    assert "ground speed" in note(ride, "taken_as")


def test_a_plain_temp_says_what_it_was_taken_for(tmp_path: Path) -> None:
    ride = read(tmp_path, {"temp [C]": [70 + n % 30 for n in range(N)], "RPM": RIDDEN})
    assert "'temp' was taken as coolant temperature" in note(ride, "taken_as")


def test_columns_not_understood_are_named_once(tmp_path: Path) -> None:
    ride = read(tmp_path, {"Coolant [C]": [80] * N, "Engine": [6237] * N, "Mood": ["good"] * N, "Empty": [""] * N})
    assert [one.kind for one in ride.notes].count("not_understood") == 1
    text = note(ride, "not_understood")
    assert "'Engine' (values like 6237)" in text
    assert "'Mood' (texts like 'good')" in text
    assert "Empty" not in text
    assert "--column 'Engine=CHANNEL:UNIT'" in text
    # A unit that only one channel has makes the example one that can be copied.
    ride = read(tmp_path, {"Coolant [C]": [80] * N, "Engine [rpm]": [6237] * N})
    assert "--column 'Engine=engine_rpm:rpm'" in note(ride, "not_understood")
    told = read(tmp_path, {"Coolant [C]": [80] * N, "Engine": [6237] * N}, "Engine=engine_rpm:rpm")
    assert "not_understood" not in kinds(told)
    assert "not_understood" not in kinds(read(tmp_path, {"Coolant [C]": [80] * N, "Engine": [6237] * N}, "Engine=raw"))


# -- states -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("on", "off"),
    [
        ("on", "off"), ("Yes", "No"), ("ein", "aus"), ("an", "aus"), ("ja", "nein"), ("oui", "non"),
        ("marche", "arrêt"),
        ("allumé", "éteint"), ("sí", "no"), ("encendido", "apagado"), ("sì", "no"), ("acceso", "spento"),
        ("sim", "não"),
        ("ligado", "desligado"), ("aan", "uit"), ("ja", "nee"), ("på", "av"), ("ja", "nej"), ("vrai", "faux"),
        ("wahr", "falsch"), ("ACTIVÉ", "DÉSACTIVÉ"), ("attivo", "inattivo"), ("verdadeiro", "falso"),
        ("sant", "falskt"),
    ],
)  # fmt: skip
def test_on_and_off_in_every_language(on: str, off: str, tmp_path: Path) -> None:
    ride = read(tmp_path, {"Fan": [on, off] * (N // 2), "RPM": RIDDEN})
    assert ride.samples["fan_on"].to_list()[:2] == [1.0, 0.0]
    assert "state_unknown" not in kinds(ride)


def test_map_values_that_are_not_listed_come_with_the_line_to_add(tmp_path: Path) -> None:
    ride = read(tmp_path, {"Map": ["a", "hard", "soft", "hard"] * (N // 4), "RPM": RIDDEN}, mapped=True)
    text = note(ride, "map_unread")
    line = text[text.index("slot_values = {") : text.index("}") + 1]
    assert line == 'slot_values = { "a" = 1, "b" = 2, "hard" = 3, "soft" = 4 }'
    bike = parse_bike(f'schema = 1\nid = "b7"\n[maps]\nconservative_slot = 2\n{line}\n', "b.toml")
    assert bike.slot_of("hard") == 3
    assert "set each number" in text
