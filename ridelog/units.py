"""Unit texts as logs write them -> factor and offset to the canonical unit.

`value_canonical = value * factor + offset`. Factors are exact by definition (SI Brochure, 9th edition; international
yard and pound agreement of 1959) unless the line says otherwise.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

FOOT_M = 0.3048
MILE_M = 1609.344
NAUTICAL_MILE_M = 1852.0
PSI_PA = 4.4482216152605 / 0.0254**2
"""Pound-force per square inch from the exact pound-force and inch."""


@dataclass(frozen=True)
class Unit:
    """One way to write a quantity: canonical unit it converts to, factor and offset."""

    canonical: str
    factor: float = 1.0
    offset: float = 0.0

    def convert(self, value: float) -> float:
        """One value to the canonical unit."""
        return value * self.factor + self.offset


_C = Unit("C")
_F = Unit("C", 1 / 1.8, -32 / 1.8)
_K = Unit("C", 1.0, -273.15)

_PER_MINUTE = (
    "rpm",
    "1/min",
    "u/min",
    "umin",
    "tr/min",
    "tr/mn",
    "tours/min",
    "g/min",
    "giri/min",
    "min-1",
    "r/min",
    "rev/min",
    "upm",
    "vueltas/min",
    "giros/min",
    "rot/min",
    "omw/min",
    "toeren/min",
    "varv/min",
)
_THOUSANDS = tuple(
    text.format(name)
    for name in _PER_MINUTE
    for text in ("{} x1000", "x1000 {}", "{} x 1000", "{}*1000", "1000 {}", "1000{}")
)

# Spelled out in the languages of the name tables, as headers have them.
_SECOND_WORDS = ("seconds", "sekunden", "secondes", "segundos", "secondi", "seconden", "sekunder")
_SECONDS = ("s", "sec", "secs", "seg", "sek", *_SECOND_WORDS)
_MILLISECONDS = ("ms", "msec", "millis", "milisegundos", *("milli" + word for word in _SECOND_WORDS), "milissegundos")
_MICROSECONDS = ("us", "usec", "micros", *("micro" + word for word in _SECOND_WORDS), "mikrosekunden", "mikrosekunder",
                 "microssegundos")  # fmt: skip
_DEGREE_WORDS = ("degrees", "degree", "grad", "degres", "grados", "gradi", "graus", "graden", "grader")

_UNITS: dict[str, Unit] = {
    **dict.fromkeys(("c", "degc", "celsius", "gradc", "deg c", "cel"), _C),
    **dict.fromkeys((f"{word} {scale}" for word in _DEGREE_WORDS for scale in ("c", "celsius")), _C),
    **dict.fromkeys(("f", "degf", "fahrenheit", "deg f"), _F),
    **dict.fromkeys((f"{word} {scale}" for word in _DEGREE_WORDS for scale in ("f", "fahrenheit")), _F),
    **dict.fromkeys(("k", "kelvin"), _K),
    **dict.fromkeys(("m/s", "mps", "ms-1", "m s-1", "meter/s"), Unit("m/s")),
    **dict.fromkeys(("km/h", "kmh", "kph", "kmph", "km h-1", "kmh-1", "km/u"), Unit("m/s", 1 / 3.6)),
    **dict.fromkeys(("0.1 km/h", "0,1 km/h", "1/10 km/h", "km/h x 10", "km/h*10"), Unit("m/s", 1 / 36)),
    **dict.fromkeys(("mph", "mi/h", "miles/h"), Unit("m/s", MILE_M / 3600)),
    **dict.fromkeys(
        ("kn", "kt", "kts", "knot", "knots", "knoten", "nœuds", "noeuds", "nodi", "nudos", "knopen", "knop"),
        Unit("m/s", NAUTICAL_MILE_M / 3600),
    ),
    **dict.fromkeys(_PER_MINUTE, Unit("1/min")),
    **dict.fromkeys(("krpm", "1000/min", *_THOUSANDS), Unit("1/min", 1000.0)),
    **dict.fromkeys(("1/s", "hz", "rps"), Unit("1/min", 60.0)),
    **dict.fromkeys(("%", "pct", "percent", "prozent", "procent", "pourcent", "por ciento", "percento"), Unit("%")),
    **dict.fromkeys(("m", "meter", "metre", "metres", "meters", "metros", "metri", "mnn", "m asl"), Unit("m")),
    **dict.fromkeys(("ft", "feet", "foot"), Unit("m", FOOT_M)),
    **dict.fromkeys(("deg", "degrees", "grad", "deg btdc", "btdc", "kw"), Unit("deg")),
    **dict.fromkeys(("rad",), Unit("deg", 57.29577951308232)),
    **dict.fromkeys(_MILLISECONDS, Unit("ms")),
    **dict.fromkeys(_SECONDS, Unit("ms", 1000.0)),
    **dict.fromkeys(_MICROSECONDS, Unit("ms", 1e-3)),
    **dict.fromkeys(("kpa",), Unit("kPa")),
    **dict.fromkeys(("pa",), Unit("kPa", 1e-3)),
    **dict.fromkeys(("hpa", "mbar"), Unit("kPa", 0.1)),
    **dict.fromkeys(("bar",), Unit("kPa", 100.0)),
    **dict.fromkeys(("psi",), Unit("kPa", PSI_PA / 1000)),
    **dict.fromkeys(("v", "volt", "volts", "voltios"), Unit("V")),
    **dict.fromkeys(("mv",), Unit("V", 1e-3)),
    **dict.fromkeys(("", "1", "-", "lambda", "count", "bool", "on/off", "0/1"), Unit("1")),
}

TIME_UNITS_S: dict[str, float] = {
    **dict.fromkeys(_SECONDS, 1.0),
    **dict.fromkeys(_MILLISECONDS, 1e-3),
    **dict.fromkeys(_MICROSECONDS, 1e-6),
    **dict.fromkeys(("ns", "nanoseconds"), 1e-9),
    **dict.fromkeys(("min", "minutes", "minuten", "minutos", "minuti", "minuter"), 60.0),
    **dict.fromkeys(("h", "hours", "stunden", "heures", "horas", "ore", "uren", "timmar"), 3600.0),
}
"""Unit texts of a counter column -> seconds."""

# A degree sign saved once or twice in the wrong encoding, and the look-alikes people type for it.
_DEGREE = re.compile("(?:Ã‚Â|Ã‚|Â)?[°º˚]|Â(?=[CF])|â°|ï¿½|\ufffd")


def fold(text: str) -> str:
    """Lower-case, accents and degree signs folded, white space single: the form in which names and units compare."""
    text = _DEGREE.sub("deg ", text)
    text = text.replace("ß", "ss").replace("µ", "u").replace("μ", "u").replace("−", "-").replace("²", "2")
    text = unicodedata.normalize("NFKD", text)
    text = "".join(char for char in text if not unicodedata.combining(char))
    return " ".join(text.lower().split())


def parse_unit(text: str) -> Unit | None:
    """The unit a text names, or None where it names none. `'°C'`, `'[km/h]'` and `'Deg F'` all work."""
    key = fold(text).strip("[](){} .")
    for candidate in (key, key.replace(" ", ""), key.replace("deg ", "deg")):
        if candidate in _UNITS:
            return _UNITS[candidate]
    return None
