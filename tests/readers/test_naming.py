"""Column names: words to channels, units split off, tables whole."""

from __future__ import annotations

import pytest

from ridelog.channels import CHANNELS
from ridelog.readers import naming


def channels(header: str) -> set[str]:
    name, _ = naming.split_unit(naming.mend(header))
    return {candidate.channel for candidate in naming.candidates(name)}


@pytest.mark.parametrize(
    ("header", "channel", "unit"),
    [
        ("Engine Coolant Temperature [Â°C]", "coolant_c", "°C"),
        ("Kühlmitteltemperatur [°C]", "coolant_c", "°C"),
        ("KÃ¼hlwasser", "coolant_c", None),
        ("Kuehlwassertemp.", "coolant_c", None),
        ("ECT (C)", "coolant_c", "C"),
        ("h2o", "coolant_c", None),
        ("water_temp_F", "coolant_c", "F"),
        ("Coolant (left radiator) [C]", "coolant_c", "C"),
        ("CoolantTemp", "coolant_c", None),
        ("Temperature, coolant", "coolant_c", None),
        ("RPM", "engine_rpm", None),
        ("Engine speed rpm", "engine_rpm", "rpm"),
        ("U/min", "engine_rpm", None),
        ("Motordrehzahl [1/min]", "engine_rpm", "1/min"),
        ("TPS (V)", "throttle_pct", "V"),
        ("Absolute Throttle Position [%]", "throttle_pct", "%"),
        ("Accelerator Pedal Position D [%]", "throttle_pct", "%"),
        ("Gasgriff %", "throttle_pct", "%"),
        ("GPS Speed (mph)", "gps_speed_mps", "mph"),
        ("gpsSpeed km/h", "gps_speed_mps", "km/h"),
        ("Vehicle Speed Sensor [km/h]", "wheel_speed_mps", "km/h"),
        ("Hinterradgeschwindigkeit [km/h]", "wheel_speed_mps", "km/h"),
        ("Latitude", "lat_deg", None),
        ("Länge [°]", "lon_deg", "°"),
        ("Altitude (ft)", "elevation_m", "ft"),
        ("Höhe ü. NN [m]", "elevation_m", "m"),
        ("IAT", "intake_air_c", None),
        ("Ansauglufttemperatur", "intake_air_c", None),
        ("Ambient Air Temperature [°C]", "ambient_c", "°C"),
        ("Umgebungstemperatur", "ambient_c", None),
        ("EGT 1", "exhaust_gas_c", None),
        ("Kennfeld", "map_slot", None),
        ("Map switch", "map_slot", None),
        ("Gang", "gear", None),
        ("Fan", "fan_on", None),
        ("Lüfter", "fan_on", None),
        ("Batteriespannung V", "battery_v", "V"),
        ("Lambda", "lambda", None),
        ("Zündwinkel [°KW]", "ignition_deg", "°KW"),
        ("Fuel pressure [bar]", "fuel_kpa", "bar"),
        ("coolant_c.2", "coolant_c", None),
    ],
)
def test_a_header_cell(header: str, channel: str, unit: str | None) -> None:
    name, found = naming.split_unit(naming.mend(header))
    assert found == unit
    assert {candidate.channel for candidate in naming.candidates(name)} == {channel}


@pytest.mark.parametrize(
    ("header", "unit", "implied"),
    [
        ("Time [s]", "s", None),
        ("t_ms", "ms", None),
        ("Zeit in s", "s", None),
        ("millis", None, "ms"),
        ("t_s", None, "s"),
        ("Time (UTC)", "UTC", None),
        ("Uhrzeit", None, None),
        ("Sekunden", None, "s"),
    ],
)
def test_a_time_cell(header: str, unit: str | None, implied: str | None) -> None:
    name, found = naming.split_unit(header)
    assert found == unit
    assert "time" in {candidate.channel for candidate in naming.candidates(name)}
    assert naming.counter_unit(name) == implied


@pytest.mark.parametrize(
    "header", ["Lap time delta", "Note", "Intake Manifold Absolute Pressure", "Air Flow Rate", "Best lap", "x"]
)
def test_what_no_table_knows(header: str) -> None:
    assert channels(header) == set()


def test_words_that_fit_two_channels_propose_both() -> None:
    assert channels("Speed") == {"gps_speed_mps", "wheel_speed_mps"}
    assert channels("Tempo") >= {"gps_speed_mps", "wheel_speed_mps"}
    assert channels("temp") == {"coolant_c", "ambient_c"}


def test_a_pedal_is_only_a_stand_in() -> None:
    assert {candidate.fallback for candidate in naming.candidates("Accelerator pedal")} == {True}
    assert {candidate.fallback for candidate in naming.candidates("Throttle")} == {False}


def test_sensor_numbers() -> None:
    assert {candidate.number for candidate in naming.candidates("Coolant temp 2")} == {2}
    assert {candidate.number for candidate in naming.candidates("EGT1")} == {1}


@pytest.mark.parametrize("table", naming.tables(), ids=lambda table: table.language)
def test_every_target_of_a_table_is_a_channel(table: naming.Table) -> None:
    for found in table.meanings.values():
        assert found
        assert all(one.channel in CHANNELS or one.channel in ("time", "date", "lat_sign", "lon_sign") for one in found)
        assert len({one.channel for one in found}) == len(found)


@pytest.mark.parametrize("table", naming.tables()[:2], ids=lambda table: table.language)
def test_no_word_of_a_language_means_two_things_by_accident(table: naming.Table) -> None:
    allowed = {"speed", "v", "temp", "t", "t1", "geschw", "tempo"}
    doubled = {key for key, found in table.meanings.items() if len({one.channel for one in found}) > 1}
    assert doubled <= allowed


def test_a_table_that_names_no_channel_is_a_fault() -> None:
    with pytest.raises(ValueError, match="is no channel"):
        naming.parse_table('language = "xx"\n[channels.coolant_f]\nnames = ["a"]', "xx.toml")


def test_every_channel_can_be_named_in_english() -> None:
    english = naming.tables()[0]
    named = {one.channel for found in english.meanings.values() for one in found}
    assert named >= {name for name, channel in CHANNELS.items() if channel.kind != "time"}
