"""The table forms of the season's short rides: one a logger, as each customer's writes it. Not packed, so that the same
bytes come out whatever packs files on the machine."""

from .forms import KMH
from .writers import Column, Form


def _plain(slots: tuple[str, str] | None, fan: bool) -> Form:
    columns = [
        Column("Coolant temp [C]", "coolant", 1),
        Column("Engine speed [rpm]", "rpm"),
        Column("Throttle [%]", "throttle", 1),
        Column("GPS speed [km/h]", "speed", 1, KMH),
        Column("Latitude", "lat", 6),
        Column("Longitude", "lon", 6),
        Column("Altitude [m]", "altitude", 1),
        Column("Gear", "gear"),
    ]
    if slots is not None:
        columns.append(Column("Map", "slot", texts=slots))
    if fan:
        columns.append(Column("Fan", "fan", texts=("off", "on")))
    return Form(tuple(columns), "Time (UTC)", "iso")


def _lean(slots: tuple[str, str]) -> Form:
    return Form(
        (
            Column("rpm", "rpm"),
            Column("throttle (%)", "throttle", 1),
            Column("coolant (C)", "coolant", 1),
            Column("map", "slot", texts=slots),
            Column("gps speed (m/s)", "speed", 2),
            Column("latitude", "lat", 6),
            Column("longitude", "lon", 6),
            Column("altitude (m)", "altitude", 1),
        ),
        "time",
        "iso",
        separator=";",
    )


FAN_01 = _plain(("0", "1"), fan=True)
FAN_12 = _plain(("1", "2"), fan=True)
LEAN_01 = _lean(("0", "1"))
LEAN_12 = _lean(("1", "2"))
LEAN_AB = _lean(("A", "B"))
FAN_AB = _plain(("A", "B"), fan=True)
NO_MAP = _plain(None, fan=True)
NO_DATE = Form(FAN_01.columns, "Time [s]", "seconds")
SPEED_ONLY = Form(
    (
        Column("Coolant temp [C]", "coolant", 1),
        Column("GPS speed [km/h]", "speed", 1, KMH),
        Column("Latitude", "lat", 6),
        Column("Longitude", "lon", 6),
    ),
    "Time (UTC)",
    "iso",
)
