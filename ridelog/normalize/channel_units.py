"""Which units go with which channel."""

from __future__ import annotations

from ridelog.channels import CHANNELS
from ridelog.normalize import hemisphere
from ridelog.units import TIME_UNITS_S, Unit, fold, parse_unit

_DATE_ORDERS = ("dmy", "mdy", "ymd")

_ZONE_WORDS = (
    "utc",
    "gmt",
    "z",
    "local",
    "lokal",
    "hh:mm:ss",
    "hh:mm:ss.sss",
    "h:m:s",
    "iso",
    "iso8601",
    "iso 8601",
    "unix",
    "epoch",
)

ROUGH_VOLTS = Unit("%", 20.0)
"""A throttle sensor's volts as a share of its 5 V supply; the stops are learned later from the log itself."""

ROUGH_DEGREES = Unit("%", 100.0 / 90.0)
"""A throttle plate's angle as a share of a right angle; the stops are learned later from the log itself."""

RATIO = Unit("%", 100.0)
"""A share 0 to 1 as percent."""


_EXAMPLES = {
    "C": ("C", "F", "K"),
    "m/s": ("km/h", "mph", "m/s", "kn"),
    "1/min": ("rpm", "krpm", "1/s"),
    "m": ("m", "ft"),
    "kPa": ("kPa", "hPa", "bar", "psi"),
    "V": ("V", "mV"),
    "ms": ("ms", "s", "us"),
    "deg": ("deg", "rad"),
}
"""Usual units by the one a channel is kept in; a channel of another one is written in that alone."""


def examples(channel: str) -> str:
    """Units a channel may be written in, for a message: "C, F, K"."""
    if channel == "throttle_pct":
        return "%, V, deg"
    unit = CHANNELS[channel].unit
    return ", ".join(_EXAMPLES.get(unit, (unit,)))


def unit_for(channel: str, unit_text: str | None) -> tuple[bool, Unit | None]:  # noqa: PLR0911 - one return a case
    """Does a unit text go with a channel, and the conversion it names. No text, or one nobody knows, goes with any."""
    if unit_text is None or not unit_text.strip():
        return True, None
    if channel in hemisphere.SIGNS:
        return True, None
    if channel in ("time", "date"):
        key = fold(unit_text).strip("[]() .")
        # A dash in a row of units says that there is none, which is right for a clock time.
        return key in ("", "-") or key in TIME_UNITS_S or key in _DATE_ORDERS or key in _ZONE_WORDS or key.startswith(
            ("utc", "gmt", "yyyy", "hh", "dd")
        ), None
    unit = parse_unit(unit_text)
    if unit is None:
        return True, None
    wanted = CHANNELS[channel].unit
    if unit.canonical == wanted:
        return True, unit
    if channel == "throttle_pct":
        special = {"V": Unit("%", ROUGH_VOLTS.factor * unit.factor), "deg": ROUGH_DEGREES, "1": RATIO}.get(
            unit.canonical
        )
        return special is not None, special
    if channel == "lambda" and unit.canonical == "%":
        return False, None
    return False, None
