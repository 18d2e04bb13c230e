"""How figures and units are written on a page. The results stay in SI and C; only what is shown is turned here."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ridelog.errors import UsageError
from ridelog.units import FOOT_M, MILE_M
from ridelog.words import terms as words
from ridelog.words.terms import clock

__all__ = [
    "DASH",
    "IMPERIAL",
    "METRIC",
    "NBSP",
    "Display",
    "clock",
    "display",
    "duration",
    "number",
    "round_length",
    "share",
    "time_ticks",
]

NBSP = "\u00a0"
"""Between a number and its unit, so that the two never part at the end of a line."""
DASH = "–"
"""Stands where a figure can't be told; the reason stands beside it."""


@dataclass(frozen=True)
class Display:
    """Units of one page. Every method takes the canonical unit named in its argument."""

    name: str
    temperature_unit: str
    speed_unit: str
    distance_unit: str
    short_distance_unit: str

    @property
    def _imperial(self) -> bool:
        return self.name == "imperial"

    def temperature(self, value_c: float) -> float:
        """A temperature from C."""
        return value_c * 1.8 + 32.0 if self._imperial else value_c

    def temperature_scale(self) -> tuple[float, float]:
        """Factor and offset from C, for whole arrays."""
        return (1.8, 32.0) if self._imperial else (1.0, 0.0)

    def speed_factor(self) -> float:
        """Shown speed over m/s."""
        return 3600.0 / MILE_M if self._imperial else 3.6

    def long_distance_m(self) -> float:
        """Metres in one long unit (km or mile)."""
        return MILE_M if self._imperial else 1000.0

    def short_distance_m(self) -> float:
        """Metres in one short unit (m or foot)."""
        return FOOT_M if self._imperial else 1.0

    def temperature_text(self, value_c: float | None, digits: int = 0) -> str:
        """`104 °C`, or a dash."""
        return DASH if value_c is None else f"{number(self.temperature(value_c), digits)}{NBSP}{self.temperature_unit}"

    def peak_text(self, value_c: float | None) -> str:
        """A temperature as it was read: `110.5 °C`, but `118 °C`; a dash where not known."""
        return self.temperature_text(value_c, 0 if value_c is None or round(value_c, 1) == round(value_c) else 1)

    def temperature_step_text(self, value_k: float | None, digits: int = 0) -> str:
        """A difference of temperatures, from K."""
        if value_k is None:
            return DASH
        return f"{number(value_k * self.temperature_scale()[0], digits)}{NBSP}{self.temperature_unit}"

    def speed_text(self, value_mps: float | None, digits: int = 0) -> str:
        """`34 km/h`, or a dash."""
        return (
            DASH if value_mps is None else f"{number(value_mps * self.speed_factor(), digits)}{NBSP}{self.speed_unit}"
        )

    def distance_text(self, value_m: float | None) -> str:
        """`18.4 km`, or a dash."""
        return DASH if value_m is None else f"{number(value_m / self.long_distance_m(), 1)}{NBSP}{self.distance_unit}"


METRIC = Display("metric", "°C", "km/h", "km", "m")
IMPERIAL = Display("imperial", "°F", "mph", "mi", "ft")


def display(name: str) -> Display:
    """`metric` or `imperial`. Raises UsageError for another word."""
    for known in (METRIC, IMPERIAL):
        if known.name == name:
            return known
    raise UsageError(f"units {name!r} are not known", expected="metric or imperial", to_do="choose one of the two")


def number(value: float, digits: int) -> str:
    """A figure with a real minus; what rounds to nought has no sign."""
    text = f"{value:,.{digits}f}"
    if not text.startswith("-"):
        return text
    return "−" + text[1:] if text.strip("-0.,") else text[1:]


def duration(seconds: float | None) -> str:
    """A duration in words, or a dash. Spaces do not break."""
    return DASH if seconds is None else words.duration(seconds).replace(" ", NBSP)


def share(value: float | None) -> str:
    """A share (0..1) as a percentage, or a dash. Spaces do not break."""
    return DASH if value is None else words.share(value).replace(" ", NBSP)


_STEPS_S = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 10_800, 21_600, 43_200, 86_400)


def time_ticks(start_s: float, end_s: float, most: int = 9) -> tuple[list[float], list[str]]:
    """Round elapsed times inside a view and their labels: `h:mm` where whole minutes do, else `h:mm:ss`."""
    span = max(end_s - start_s, 1e-9)
    step = next((step for step in _STEPS_S if span / step <= most), _STEPS_S[-1] * math.ceil(span / most / 86_400))
    first = math.ceil((start_s - 1e-7) / step)
    values = [float(step * n) for n in range(first, math.floor((end_s + 1e-7) / step) + 1)]
    if step % 60 == 0:
        return values, [f"{int(v) // 3600}:{int(v) % 3600 // 60:02d}" for v in values]
    return values, [clock(v) for v in values]


def round_length(at_most: float) -> float:
    """The largest of 1, 2 or 5 times a power of ten not over `at_most` (> 0), for a scale bar."""
    power = 10.0 ** math.floor(math.log10(at_most))
    return next(factor * power for factor in (5.0, 2.0, 1.0) if factor * power <= at_most * (1 + 1e-12))
