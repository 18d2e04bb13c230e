"""Column names in eight languages: the trade's ordinary words, and the words that mean something else next door.

The words are common practice without a published source; the headers are made up.
"""

from __future__ import annotations

import tomllib
import unicodedata
from importlib.resources import files

import numpy as np
import polars as pl
import pytest

from ridelog.channels import CHANNELS
from ridelog.errors import AmbiguousColumn
from ridelog.normalize.meaning import decide
from ridelog.readers.naming import candidates, counter_unit, split_unit, tables
from ridelog.ride import RawColumn
from ridelog.units import TIME_UNITS_S, fold, parse_unit

LANGUAGES = ("en", "de", "es", "fr", "it", "nl", "pt", "sv")

PLAUSIBLE = {
    "time": (0.0, 600.0),
    "coolant_c": (20.0, 98.0),
    "engine_rpm": (1500.0, 9000.0),
    "throttle_pct": (0.0, 100.0),
    "gps_speed_mps": (0.0, 27.0),
    "wheel_speed_mps": (0.0, 28.0),
    "lat_deg": (45.1, 45.2),
    "lon_deg": (-31.2, -31.1),
    "elevation_m": (200.0, 400.0),
    "ambient_c": (18.0, 21.0),
    "intake_air_c": (25.0, 40.0),
    "exhaust_gas_c": (300.0, 600.0),
    "head_c": (80.0, 140.0),
    "ignition_deg": (5.0, 25.0),
    "injector_ms": (0.8, 4.0),
    "fuel_kpa": (300.0, 350.0),
    "battery_v": (12.0, 14.4),
    "baro_kpa": (95.0, 101.0),
    "detonation_count": (0.0, 9.0),
    "gps_hdop": (0.7, 2.0),
}
STATES = {"gear": 6, "map_slot": 2, "fan_on": 1, "gps_satellites": 14, "gps_fix": 1}


def column(header: str, channel: str, values: tuple[float, ...] | None = None) -> RawColumn:
    """A column with values such as the channel has; in other units than the header states they would be refused."""
    name, unit = split_unit(header)
    if values is None and channel in STATES:
        values = tuple(float(i % (STATES[channel] + 1)) for i in range(40))
    if values is None:
        values = tuple(np.linspace(*PLAUSIBLE.get(channel, (0.0, 1.0)), 40))
    return RawColumn(name, unit, pl.Series(name, values, dtype=pl.Float64))


def meanings(*headers: tuple[str, str]) -> dict[str, str]:
    """Header -> channel, of columns (header, what its values look like)."""
    columns = [column(header, channel) for header, channel in headers]
    plan = decide(columns, [candidates(one.name) for one in columns], (), "ride.csv")
    by_index = {meaning.column: meaning.channel for meaning in plan.meanings}
    return {header: by_index[index] for index, (header, _) in enumerate(headers)}


HEADERS = {
    "en": (
        ("Time (s)", "time"), ("Coolant temp [°C]", "coolant_c"), ("Engine speed", "engine_rpm"),
        ("Throttle position (%)", "throttle_pct"), ("GPS speed (km/h)", "gps_speed_mps"),
        ("Wheel speed (km/h)", "wheel_speed_mps"), ("Gear", "gear"), ("Map switch", "map_slot"),
        ("Ambient air temp", "ambient_c"), ("Intake air temp", "intake_air_c"), ("Altitude (m)", "elevation_m"),
        ("Battery voltage", "battery_v"), ("Ignition advance", "ignition_deg"), ("Injector time (ms)", "injector_ms"),
        ("Fan", "fan_on"),
    ),
    "de": (
        ("Zeit [s]", "time"), ("Kühlmitteltemperatur [°C]", "coolant_c"), ("Motordrehzahl", "engine_rpm"),
        ("Drosselklappe [%]", "throttle_pct"), ("GPS-Geschwindigkeit [km/h]", "gps_speed_mps"),
        ("Radgeschwindigkeit [km/h]", "wheel_speed_mps"), ("Gang", "gear"), ("Kennfeldschalter", "map_slot"),
        ("Außentemperatur", "ambient_c"), ("Ansauglufttemperatur", "intake_air_c"), ("Höhe [m]", "elevation_m"),
        ("Batteriespannung", "battery_v"), ("Zündwinkel", "ignition_deg"), ("Einspritzzeit [ms]", "injector_ms"),
        ("Lüfter", "fan_on"),
    ),
    "fr": (
        ("Temps (s)", "time"), ("Température d'eau (°C)", "coolant_c"), ("Régime moteur (tr/min)", "engine_rpm"),
        ("Position papillon (%)", "throttle_pct"), ("Vitesse GPS (km/h)", "gps_speed_mps"),
        ("Vitesse roue arrière (km/h)", "wheel_speed_mps"), ("Rapport engagé", "gear"), ("Cartographie", "map_slot"),
        ("T° air ambiant", "ambient_c"), ("T° air d'admission", "intake_air_c"), ("Altitude (m)", "elevation_m"),
        ("Tension batterie", "battery_v"), ("Avance à l'allumage", "ignition_deg"),
        ("Temps d'injection (ms)", "injector_ms"), ("Ventilateur", "fan_on"), ("Température culasse", "head_c"),
        ("Gaz d'échappement", "exhaust_gas_c"), ("Pression carburant", "fuel_kpa"),
        ("Pression atmosphérique", "baro_kpa"), ("Cliquetis", "detonation_count"), ("Latitude", "lat_deg"),
        ("Longitude", "lon_deg"), ("Nombre de satellites", "gps_satellites"),
    ),
    "es": (
        ("Tiempo (s)", "time"), ("Temperatura del agua (°C)", "coolant_c"), ("Régimen del motor", "engine_rpm"),
        ("Posición de la mariposa (%)", "throttle_pct"), ("Velocidad GPS (km/h)", "gps_speed_mps"),
        ("Velocidad rueda trasera (km/h)", "wheel_speed_mps"), ("Marcha engranada", "gear"),
        ("Selector de mapas", "map_slot"), ("Temperatura ambiente", "ambient_c"),
        ("Temp. aire de admisión", "intake_air_c"), ("Altura (m)", "elevation_m"),
        ("Voltaje de batería", "battery_v"), ("Avance de encendido", "ignition_deg"),
        ("Tiempo de inyección (ms)", "injector_ms"), ("Ventilador", "fan_on"), ("Culata", "head_c"),
        ("Temp. gases de escape", "exhaust_gas_c"), ("Presión de combustible", "fuel_kpa"),
        ("Presión atmosférica", "baro_kpa"), ("Detonaciones", "detonation_count"), ("Latitud", "lat_deg"),
        ("Longitud", "lon_deg"), ("Número de satélites", "gps_satellites"),
    ),
    "it": (
        ("Tempo (s)", "time"), ("Temperatura acqua (°C)", "coolant_c"), ("Giri motore", "engine_rpm"),
        ("Apertura farfalla (%)", "throttle_pct"), ("Velocità GPS (km/h)", "gps_speed_mps"),
        ("Velocità ruota posteriore (km/h)", "wheel_speed_mps"), ("Marcia", "gear"), ("Mappatura", "map_slot"),
        ("Temperatura ambiente", "ambient_c"), ("Temp. aria aspirata", "intake_air_c"), ("Quota (m)", "elevation_m"),
        ("Tensione batteria", "battery_v"), ("Anticipo di accensione", "ignition_deg"),
        ("Tempo di iniezione (ms)", "injector_ms"), ("Ventola", "fan_on"), ("Temperatura testata", "head_c"),
        ("Gas di scarico", "exhaust_gas_c"), ("Pressione benzina", "fuel_kpa"), ("Pressione atmosferica", "baro_kpa"),
        ("Detonazioni", "detonation_count"), ("Latitudine", "lat_deg"), ("Longitudine", "lon_deg"),
        ("Numero satelliti", "gps_satellites"),
    ),
    "pt": (
        ("Tempo (s)", "time"), ("Temperatura da água (°C)", "coolant_c"), ("Rotação do motor", "engine_rpm"),
        ("Posição da borboleta (%)", "throttle_pct"), ("Velocidade GPS (km/h)", "gps_speed_mps"),
        ("Velocidade da roda traseira (km/h)", "wheel_speed_mps"), ("Mudança engatada", "gear"),
        ("Seletor de mapa", "map_slot"), ("Temperatura ambiente", "ambient_c"),
        ("Temp. ar de admissão", "intake_air_c"), ("Altitude (m)", "elevation_m"), ("Tensão da bateria", "battery_v"),
        ("Avanço da ignição", "ignition_deg"), ("Tempo de injeção (ms)", "injector_ms"), ("Ventoinha", "fan_on"),
        ("Temperatura cabeçote", "head_c"), ("Gases de escape", "exhaust_gas_c"),
        ("Pressão de combustível", "fuel_kpa"), ("Pressão atmosférica", "baro_kpa"),
        ("Detonações", "detonation_count"), ("Latitude", "lat_deg"), ("Longitude", "lon_deg"),
        ("Nº de satélites", "gps_satellites"),
    ),
    "nl": (
        ("Tijd (s)", "time"), ("Koelvloeistoftemperatuur (°C)", "coolant_c"), ("Motortoerental", "engine_rpm"),
        ("Gasklepstand (%)", "throttle_pct"), ("GPS-snelheid (km/h)", "gps_speed_mps"),
        ("Snelheid achterwiel (km/h)", "wheel_speed_mps"), ("Versnelling", "gear"), ("Mapschakelaar", "map_slot"),
        ("Buitentemperatuur", "ambient_c"), ("Inlaatluchttemperatuur", "intake_air_c"), ("Hoogte (m)", "elevation_m"),
        ("Accuspanning", "battery_v"), ("Ontstekingshoek", "ignition_deg"), ("Inspuittijd (ms)", "injector_ms"),
        ("Ventilator", "fan_on"), ("Cilinderkop temp", "head_c"), ("Uitlaatgastemperatuur", "exhaust_gas_c"),
        ("Brandstofdruk", "fuel_kpa"), ("Luchtdruk", "baro_kpa"), ("Detonaties", "detonation_count"),
        ("Breedtegraad", "lat_deg"), ("Lengtegraad", "lon_deg"), ("Aantal satellieten", "gps_satellites"),
    ),
    "sv": (
        ("Tid (s)", "time"), ("Kylvätsketemperatur (°C)", "coolant_c"), ("Motorvarvtal", "engine_rpm"),
        ("Gasspjällsläge (%)", "throttle_pct"), ("GPS-hastighet (km/h)", "gps_speed_mps"),
        ("Hastighet bakhjul (km/h)", "wheel_speed_mps"), ("Växel", "gear"), ("Mappbrytare", "map_slot"),
        ("Utetemperatur", "ambient_c"), ("Insugsluft temp", "intake_air_c"), ("Höjd över havet (m)", "elevation_m"),
        ("Batterispänning", "battery_v"), ("Tändförställning", "ignition_deg"),
        ("Insprutningstid (ms)", "injector_ms"), ("Kylfläkt", "fan_on"), ("Topplock temp", "head_c"),
        ("Avgastemperatur", "exhaust_gas_c"), ("Bränsletryck", "fuel_kpa"), ("Lufttryck", "baro_kpa"),
        ("Knackningar", "detonation_count"), ("Latitud", "lat_deg"), ("Longitud", "lon_deg"),
        ("Antal satelliter", "gps_satellites"),
    ),
}  # fmt: skip


def without_accents(text: str) -> str:
    """As typed on a keyboard without them."""
    kept = unicodedata.normalize("NFD", text.replace("°", "@").replace("º", "@"))
    return "".join(char for char in kept if not unicodedata.combining(char)).replace("@", "°")


@pytest.mark.parametrize("language", LANGUAGES)
def test_a_header_of_each_language(language: str) -> None:
    assert meanings(*HEADERS[language]) == dict(HEADERS[language])


@pytest.mark.parametrize("language", LANGUAGES)
def test_accents_capitals_and_underscores_do_not_matter(language: str) -> None:
    for change in (
        without_accents,
        str.upper,
        lambda text: text.replace(" ", "_").replace("_(", " (").replace("_[", " ["),
    ):
        headers = [(change(header), channel) for header, channel in HEADERS[language]]
        units = [split_unit(header) for header, _ in HEADERS[language]]
        for (header, channel), (_, unit) in zip(headers, units, strict=True):
            found = {one.channel for one in candidates(split_unit(header)[0])}
            assert channel in found, (header, found)
            assert (split_unit(header)[1] is None) == (unit is None)


def _raw(language: str) -> dict:
    return tomllib.loads((files("ridelog.readers") / "names" / f"{language}.toml").read_text(encoding="utf-8"))


def _names(language: str) -> list[tuple[str, str]]:
    raw = _raw(language)
    found = [(name, "time") for name in raw["time"]["names"]]
    found += [(name, "date") for name in raw["time"]["date"]]
    found += [(name, "time") for names in raw["time"]["counter"].values() for name in names]
    for channel, entry in raw["channels"].items():
        found += [(name, channel) for kind in ("names", "instead") for name in entry.get(kind, ())]
    return found


def test_the_languages() -> None:
    assert sorted(table.language for table in tables()) == sorted(LANGUAGES)


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_target_is_a_channel_and_every_channel_has_a_name(language: str) -> None:
    raw = _raw(language)
    assert set(raw["channels"]) <= set(CHANNELS)
    assert {channel for found in raw["unsure"].values() for channel in found} <= {*CHANNELS, "time"}
    international = {"lat_deg", "lon_deg", "gps_hdop", "gps_fix", "lambda"}
    measured = {name for name, channel in CHANNELS.items() if channel.kind != "time"}
    assert measured - international <= set(raw["channels"])


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_name_stands_for_two_things_in_one_language(language: str) -> None:
    table = next(table for table in tables() if table.language == language)
    unsure = {table.key(name) for name in _raw(language)["unsure"]}
    for key, found in table.meanings.items():
        assert len({one.channel for one in found}) == 1 or key in unsure, (key, found)
    for name, channel in _names(language):
        if name in CHANNELS:  # a canonical name belongs to no language
            continue
        mine = {one.channel for one in candidates(name) if one.language == language}
        assert mine == {channel} or table.key(name) in unsure, (name, mine)


def test_words_that_mean_something_else_in_another_language_are_known_ones() -> None:
    """A new one has to be looked at: the language of the other headers must be able to settle it."""
    conflicts = set()
    for language in LANGUAGES:
        for name, _ in _names(language):
            by_language: dict[str, set[str]] = {}
            for one in candidates(name):
                by_language.setdefault(one.language, set()).add(one.channel)
            if len({frozenset(found) for found in by_language.values()}) > 1:
                conflicts.add(" ".join(sorted(name.split())))
    assert conflicts == {"tempo", "gps tempo", "temps"}


@pytest.mark.parametrize(
    ("name", "unit"),
    [("Secondes", "s"), ("Milisegundos", "ms"), ("Millisecondi", "ms"), ("Microssegundos", "us"), ("Seconden", "s"),
     ("Millisekunder", "ms"), ("Minuti", "min")],
)  # fmt: skip
def test_counters_named_for_their_unit(name: str, unit: str) -> None:
    assert counter_unit(name) == unit
    assert {one.channel for one in candidates(name)} == {"time"}


@pytest.mark.parametrize(
    ("header", "name", "scale"),
    [
        ("Temps (secondes)", "Temps", 1.0), ("Tiempo (milisegundos)", "Tiempo", 1e-3),
        ("Tempo [millisecondi]", "Tempo", 1e-3),
        ("Tempo (microssegundos)", "Tempo", 1e-6), ("Tijd minuten", "Tijd", 60.0), ("Tid (sekunder)", "Tid", 1.0),
    ],
)  # fmt: skip
def test_units_of_time_spelled_out(header: str, name: str, scale: float) -> None:
    assert split_unit(header)[0] == name
    assert TIME_UNITS_S[fold(split_unit(header)[1] or "")] == scale


@pytest.mark.parametrize(
    ("header", "value", "expected"),
    [
        ("Varvtal (varv/min)", 6000.0, 6000.0), ("Toerental omw/min", 6000.0, 6000.0), ("Régime tr/mn", 6000.0, 6000.0),
        ("Température d'eau (degrés C)", 90.0, 90.0), ("Temperatura dell'acqua (gradi Fahrenheit)", 212.0, 100.0),
        ("Velocità GPS (nodi)", 3600.0, 1852.0), ("Vitesse GPS [nœuds]", 3600.0, 1852.0),
        ("GPS-snelheid (km/u)", 36.0, 10.0),
    ],
)  # fmt: skip
def test_units_spelled_out(header: str, value: float, expected: float) -> None:
    unit = parse_unit(split_unit(header)[1] or "?")
    assert unit is not None
    assert unit.convert(value) == pytest.approx(expected)


# --- traps --------------------------------------------------------------------------------------------------------


def test_tempo_is_speed_in_german_and_time_in_italian_and_portuguese() -> None:
    german = meanings(
        ("Zeit [s]", "time"), ("Drehzahl", "engine_rpm"), ("Tempo [km/h]", "gps_speed_mps"), ("Breite", "lat_deg"),
        ("Länge", "lon_deg"),
    )  # fmt: skip
    assert german["Tempo [km/h]"] == "gps_speed_mps"
    unlabelled = meanings(
        ("Zeit", "time"),
        ("Drehzahl", "engine_rpm"),
        ("Radgeschwindigkeit", "wheel_speed_mps"),
        ("Tempo", "gps_speed_mps"),
    )
    assert unlabelled["Tempo"] == "gps_speed_mps"
    assert unlabelled["Zeit"] == "time"
    for header in (("Giri motore", "Temp acqua"), ("Rotação do motor", "Temp água")):
        latin = meanings(("Tempo", "time"), (header[0], "engine_rpm"), (header[1], "coolant_c"))
        assert latin["Tempo"] == "time"


def test_temps_is_time_in_french_and_no_temperature() -> None:
    french = meanings(("Temps", "time"), ("Régime moteur", "engine_rpm"), ("Temp eau", "coolant_c"))
    assert french == {"Temps": "time", "Régime moteur": "engine_rpm", "Temp eau": "coolant_c"}
    short = meanings(("Temps", "time"), ("RPM", "engine_rpm"), ("TPS", "throttle_pct"))
    assert short["Temps"] == "time", "abbreviations every country uses say nothing of the language"


def test_time_words_inside_other_names_are_not_the_time() -> None:
    for name in ("Temps d'injection", "Tempo di iniezione", "Tempo de injeção", "Tiempo de inyección", "Inspuittijd",
                 "Insprutningstid"):  # fmt: skip
        assert {one.channel for one in candidates(name)} == {"injector_ms"}, name


def test_vitesse_is_a_speed_or_a_gear() -> None:
    assert {one.channel for one in candidates("Vitesse")} == {"gps_speed_mps", "wheel_speed_mps", "gear"}
    with_unit = meanings(
        ("Temps", "time"), ("Régime", "engine_rpm"), ("Vitesse (km/h)", "gps_speed_mps"), ("Latitude", "lat_deg"),
        ("Longitude", "lon_deg"),
    )  # fmt: skip
    assert with_unit["Vitesse (km/h)"] == "gps_speed_mps"
    engaged = meanings(("Temps", "time"), ("Vitesse engagée", "gear"), ("Vitesse roue", "wheel_speed_mps"))
    assert engaged["Vitesse engagée"] == "gear"
    with pytest.raises(AmbiguousColumn) as asked:
        meanings(("Temps", "time"), ("Régime", "engine_rpm"), ("Vitesse", "gear"))
    offered = [option.partition("=")[2].partition(":")[0] for option in asked.value.options]
    assert list(dict.fromkeys(offered)) == ["gps_speed_mps", "wheel_speed_mps", "gear"]


@pytest.mark.parametrize(
    ("intake", "outside"),
    [
        ("Intake air", "Air"), ("Ansaugluft", "Lufttemperatur"), ("Air admission", "Air"), ("Aire de admisión", "Aire"),
        ("Aria aspirata", "Aria"), ("Ar de admissão", "Ar"), ("Aanzuiglucht", "Lucht"), ("Insugsluft", "Luft"),
    ],
)  # fmt: skip
def test_intake_air_is_not_the_air_outside(intake: str, outside: str) -> None:
    assert {one.channel for one in candidates(intake)} == {"intake_air_c"}
    assert {one.channel for one in candidates(outside)} == {"ambient_c"}


@pytest.mark.parametrize(
    ("plate", "hand"),
    [
        ("Throttle", "Pedal"), ("Drosselklappe", "Gasgriff"), ("Papillon", "Poignée"), ("Mariposa", "Puño"),
        ("Farfalla", "Manopola"), ("Borboleta", "Acelerador"), ("Gasklep", "Gashendel"), ("Gasspjäll", "Gashandtag"),
    ],
)  # fmt: skip
def test_the_hand_stands_for_the_throttle_only_where_nothing_else_does(plate: str, hand: str) -> None:
    both = meanings(("time", "time"), (hand, "throttle_pct"), (plate, "throttle_pct"))
    assert both[plate] == "throttle_pct"
    assert both[hand] == f"raw.{hand}"
    assert meanings(("time", "time"), (hand, "throttle_pct"))[hand] == "throttle_pct"


@pytest.mark.parametrize(
    "name", ["Speed", "Geschwindigkeit", "Velocidad", "Velocità", "Velocidade", "Snelheid", "Hastighet"]
)
def test_a_bare_speed_is_settled_by_the_other_columns_or_asked_for(name: str) -> None:
    assert {one.channel for one in candidates(name)} == {"gps_speed_mps", "wheel_speed_mps"}
    settled = meanings(("time", "time"), ("lat", "lat_deg"), ("lon", "lon_deg"), (name, "gps_speed_mps"))
    assert settled[name] == "gps_speed_mps"
    with pytest.raises(AmbiguousColumn):
        meanings(("time", "time"), (name, "gps_speed_mps"))


@pytest.mark.parametrize("name", ["Temp", "Temperatur", "Température", "Temperatura", "Temperatuur", "T°"])
def test_a_bare_temperature_can_be_either_and_is_asked_for(name: str) -> None:
    assert {one.channel for one in candidates(name)} == {"coolant_c", "ambient_c"}
    with pytest.raises(AmbiguousColumn):
        meanings(("time", "time"), (name, "ambient_c"))


def test_mixed_headers_still_work() -> None:
    """Loggers translated halfway."""
    found = meanings(
        ("Time", "time"), ("RPM", "engine_rpm"), ("T H2O", "coolant_c"), ("Farfalla", "throttle_pct"), ("Gear", "gear"),
        ("Mappa", "map_slot"), ("Speed GPS", "gps_speed_mps"),
    )  # fmt: skip
    assert list(found.values()) == [
        "time", "engine_rpm", "coolant_c", "throttle_pct", "gear", "map_slot", "gps_speed_mps"
    ]  # fmt: skip
