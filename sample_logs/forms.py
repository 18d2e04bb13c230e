"""The table forms of the sample rides, each a way in which loggers in general write their columns."""

from .writers import Column, Form

KMH = 3.6
MPH = 3600.0 / 1609.344
FEET = 1.0 / 0.3048

PLAIN_SECONDS = Form(
    (
        Column("Coolant temp [C]", "coolant"),
        Column("Engine speed [rpm]", "rpm"),
        Column("Throttle [%]", "throttle", 1),
        Column("GPS speed [km/h]", "speed", 1, KMH),
        Column("Latitude [deg]", "lat", 7),
        Column("Longitude [deg]", "lon", 7),
        Column("Altitude [m]", "altitude", 1),
        Column("Gear", "gear"),
        Column("Map", "slot", texts=("0", "1")),
        Column("Battery [V]", "battery", 1),
    ),
    "Time [s]",
    "seconds",
    packed=True,
)
CLOCK = Form(
    (
        Column("Engine speed [rpm]", "rpm"),
        Column("Throttle [%]", "throttle", 1),
        Column("Coolant temp [C]", "coolant", 1),
        Column("Ambient temp [C]", "ambient", 1),
        Column("Map", "slot", texts=("0", "1")),
        Column("Fan", "fan", texts=("0", "1")),
        Column("GPS speed [km/h]", "speed", 1, KMH),
        Column("Latitude", "lat", 7),
        Column("Longitude", "lon", 7),
        Column("Altitude [m]", "altitude", 1),
    ),
    "Time",
    "clock",
    packed=True,
)
GERMAN = Form(
    (
        Column("Kühlmitteltemperatur [°C]", "coolant"),
        Column("Drehzahl [1/min]", "rpm"),
        Column("Drosselklappe [%]", "throttle", 1),
        Column("Geschwindigkeit [km/h]", "speed", 1, KMH),
        Column("Breite [°]", "lat", 6),
        Column("Länge [°]", "lon", 6),
        Column("Höhe [m]", "altitude", 1),
        Column("Gang", "gear"),
        Column("Kennfeld", "slot", texts=("0", "1")),
        Column("Umgebungstemperatur [°C]", "ambient", 1),
    ),
    "Zeit [s]",
    "seconds",
    separator=";",
    decimal=",",
    newline="\r\n",
    encoding="cp1252",
)
TABS = Form(
    (
        Column("rpm", "rpm"),
        Column("throttle (%)", "throttle", 1),
        Column("coolant (C)", "coolant", 1),
        Column("gear", "gear"),
        Column("map", "slot", texts=("1", "2")),
        Column("gps speed (m/s)", "speed", 2),
        Column("latitude", "lat", 7),
        Column("longitude", "lon", 7),
        Column("altitude (m)", "altitude", 1),
    ),
    "time (ms)",
    "millis",
    separator="\t",
    counter_from_ms=48210,
    packed=True,
)
ISO_UNITS_ROW = Form(
    (
        Column("Engine speed", "rpm", unit="rpm"),
        Column("Throttle", "throttle", 1, unit="%"),
        Column("Coolant temp", "coolant", 1, unit="C"),
        Column("Ambient temp", "ambient", 1, unit="C"),
        Column("GPS speed", "speed", 1, KMH, unit="km/h"),
        Column("Latitude", "lat", 7, unit="deg"),
        Column("Longitude", "lon", 7, unit="deg"),
        Column("Altitude", "altitude", 1, unit="m"),
        Column("Gear", "gear", unit=""),
        Column("Map", "slot", unit="", texts=("1", "2")),
    ),
    "Date and time",
    "iso",
    time_unit="",
    iso_offset_h=2,
    packed=True,
)
PREAMBLE = Form(
    (
        Column("Coolant temp [C]", "coolant"),
        Column("Engine speed [rpm]", "rpm"),
        Column("Throttle [%]", "throttle", 1),
        Column("Map", "slot", texts=("1", "2")),
        Column("Gear", "gear"),
        Column("GPS speed [km/h]", "speed", 1, KMH),
        Column("Latitude [deg]", "lat", 7),
        Column("Longitude [deg]", "lon", 7),
        Column("Altitude [m]", "altitude", 1),
        Column("Fan", "fan", texts=("off", "on")),
    ),
    "Time [s]",
    "seconds",
    preamble=(
        "Ride log",
        "Bike, enduro-12",
        "Note, cool and damp",
        "Rows per second, 20",
        "",
    ),
    packed=True,
)
OWN_RATES = Form(
    (
        Column("Engine speed [rpm]", "rpm"),
        Column("Throttle [%]", "throttle", 1),
        Column("Map", "slot", texts=("1", "2")),
        Column("Coolant temp [C]", "coolant"),
        Column("Intake air temp [C]", "intake", 1),
        Column("GPS speed [km/h]", "speed", 1, KMH),
        Column("Latitude [deg]", "lat", 7),
        Column("Longitude [deg]", "lon", 7),
        Column("Altitude [m]", "altitude", 1),
    ),
    "Time [ms]",
    "millis",
    separator=";",
    held=False,
    packed=True,
)
FAHRENHEIT = Form(
    (
        Column("Engine speed [rpm]", "rpm"),
        Column("Throttle [%]", "throttle", 1),
        Column("Coolant temp [F]", "coolant"),
        Column("GPS speed [mph]", "speed", 1, MPH),
        Column("Altitude [ft]", "altitude", 0, FEET),
        Column("Latitude", "lat", 6),
        Column("Longitude", "lon", 6),
        Column("Map", "slot", texts=("A", "B")),
    ),
    "Time [s]",
    "seconds",
    packed=True,
)
NO_MAP = Form(
    (
        Column("Coolant temp [C]", "coolant"),
        Column("Engine speed [rpm]", "rpm"),
        Column("Throttle [%]", "throttle", 1),
        Column("GPS speed [km/h]", "speed", 1, KMH),
        Column("Latitude", "lat", 6),
        Column("Longitude", "lon", 6),
        Column("Altitude [m]", "altitude", 1),
    ),
    "Time",
    "clock",
)
NO_COOLANT = Form(
    (
        Column("Engine speed [rpm]", "rpm"),
        Column("Throttle [%]", "throttle", 1),
        Column("Gear", "gear"),
        Column("Map", "slot", texts=("0", "1")),
        Column("GPS speed [km/h]", "speed", 1, KMH),
        Column("Latitude", "lat", 6),
        Column("Longitude", "lon", 6),
        Column("Altitude [m]", "altitude", 1),
        Column("Ambient temp [C]", "ambient", 1),
    ),
    "Time [s]",
    "seconds",
    separator=";",
    decimal=",",
    packed=True,
)
ISO_PLAIN = Form(
    (
        Column("Coolant temp [C]", "coolant"),
        Column("Engine speed [rpm]", "rpm"),
        Column("Throttle [%]", "throttle", 1),
        Column("GPS speed [km/h]", "speed", 1, KMH),
        Column("Latitude", "lat", 7),
        Column("Longitude", "lon", 7),
        Column("Altitude [m]", "altitude", 1),
        Column("Gear", "gear"),
        Column("Map", "slot", texts=("A", "B")),
    ),
    "Timestamp",
    "iso",
    packed=True,
)
ENGINE_ONLY = Form(
    (
        Column("Engine speed [rpm]", "rpm"),
        Column("Throttle [%]", "throttle", 1),
        Column("Coolant temp [C]", "coolant", 1),
        Column("Map", "slot", texts=("0", "1")),
    ),
    "Time (UTC)",
    "iso",
    packed=True,
)
